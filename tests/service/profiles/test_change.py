"""Tighter or looser, by arithmetic in one's head."""

from decimal import Decimal
from typing import Any

import pytest

from weighworthy_service.checks.outcome import CriterionName
from weighworthy_service.metrology.instrument import Instrument
from weighworthy_service.metrology.limits import Limit
from weighworthy_service.profiles.change import Change, limit_change, setting_change
from weighworthy_service.profiles.limit_forms import to_limit
from weighworthy_service.wire.profile import LimitForm

MASS = CriterionName("span_error", "g", has_load=True)
LOSS = CriterionName("loss_error", "%")
BALANCE = Instrument(Decimal("0.001"), capacity=Decimal(60))


def limit(form: dict[str, Any] | None) -> Limit | None:
    return None if form is None else to_limit(LimitForm().load(form))


def change(
    before: dict[str, Any] | None,
    after: dict[str, Any] | None,
    criterion: CriterionName = MASS,
    load: str | None = "20",
    **more: Any,
) -> Change:
    return limit_change(
        limit(before),
        limit(after),
        criterion,
        BALANCE,
        None if load is None else Decimal(load),
        rounding=more.get("rounding", False),
    )


@pytest.mark.parametrize(
    ("before", "after", "word", "by", "percent"),
    [
        ({"within": "4 mg"}, {"within": "3 mg"}, "tighter", "0.001 g", -25),
        ({"within": "4 mg"}, {"within": "5 mg"}, "looser", "0.001 g", 25),
        ({"within": "4 mg"}, {"within": "0.004 g"}, "equal", None, None),
        ({"within": "4 mg"}, {"within": "4 d"}, "equal", None, None),
        # 0.02 % of 20 g is 4 mg.
        ({"within": "4 mg"}, {"within": "0.02 % of load"}, "equal", None, None),
        ({"within": "4 mg"}, {"lower": "-4 mg", "upper": "4 mg"}, "equal", None, None),
        ({"within": "4 mg"}, {"lower": "-4 mg", "upper": "2 mg"}, "tighter", "upper 0.002 g", -25),
        # 1 mg less on one side, 1 mg more on the other: of the same width, and neither.
        (
            {"within": "4 mg"},
            {"lower": "-3 mg", "upper": "5 mg"},
            "different",
            "lower 0.001 g and upper 0.001 g",
            0,
        ),
        ({"within": "4 mg"}, {"upper": "4 mg"}, "looser", "lower limit gone", None),
        ({"upper": "4 mg"}, {"within": "4 mg"}, "tighter", "lower limit new", None),
        ({"upper": "4 mg"}, {"upper": "3 mg"}, "tighter", "upper 0.001 g", -25),
        (None, {"within": "4 mg"}, "new", None, None),
        ({"within": "4 mg"}, None, "gone", None, None),
    ],
)
def test_limits(before, after, word, by, percent) -> None:
    found = change(before, after)
    assert (found.word, found.by, found.percent) == (word, by, percent)


def test_above_the_last_band_is_tighter_than_any_limit() -> None:
    bands = {"bands": [{"up_to": "10 g", "within": "4 mg"}]}
    assert change({"within": "4 mg"}, bands).word == "tighter"
    assert change(bands, {"within": "4 mg"}).word == "looser"
    assert change(bands, bands).word == "equal"
    assert change({"within": "4 mg"}, bands, load="10").word == "equal"


def test_counts_of_d_of_a_loss_need_its_load() -> None:
    # 2 d of 10 g are 0.02 percentage points, of 20 g 0.01.
    assert change({"within": "0.02 %"}, {"within": "2 d"}, LOSS, "10").word == "equal"
    found = change({"within": "0.02 %"}, {"within": "2 d"}, LOSS, "20")
    assert (found.word, found.by, found.percent) == ("tighter", "0.01 %", -50)


def test_what_the_balance_does_not_state() -> None:
    found = change({"within": "2 e"}, {"within": "3 mg"})
    assert found.word == "different"
    assert found.by == "the balance states no verification_interval"
    assert change({"within": "2 e"}, {"within": "2 e"}).word == "equal"


def test_limit_that_may_go_unjudged_is_looser() -> None:
    always, if_present = {"within": "4 mg"}, {"within": "4 mg", "when_present": True}
    assert change(always, if_present).word == "looser"
    assert change(if_present, always).word == "tighter"
    # Narrower, but it may go unjudged: nobody can say which is tighter.
    assert change(always, {"within": "3 mg", "when_present": True}).word == "different"


def test_last_digit_counts_only_where_values_are_rounded_to_it() -> None:
    # 0.054 % rounds to 0.05 % and passes; against 0.050 % it does not.
    fine, coarse = {"within": "0.050 %"}, {"within": "0.05 %"}
    assert change(fine, coarse, LOSS).word == "equal"
    assert change(fine, coarse, LOSS, rounding=True).word == "looser"
    assert change(coarse, fine, LOSS, rounding=True).word == "tighter"


def test_source_of_a_limit_is_no_meaning() -> None:
    assert change({"within": "4 mg"}, {"within": "4 mg", "source": "our own"}).word == "equal"


def test_verdicts_that_let_use() -> None:
    strict, lenient = ("pass",), ("pass", "conditional-pass")
    assert setting_change("use_on", lenient, strict, four_way=True).word == "tighter"
    assert setting_change("use_on", strict, lenient, four_way=True).word == "looser"
    assert setting_change("use_on", lenient, lenient[::-1], four_way=True).word == "equal"
