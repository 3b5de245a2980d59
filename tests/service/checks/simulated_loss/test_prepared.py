"""A prepared check: whatever the readings, it says what the check as a whole says."""

from dataclasses import replace
from decimal import Decimal

import pytest

from weighworthy_service.checks.flaws import SenseError
from weighworthy_service.checks.simulated_loss.evaluation import PreparedLoss, evaluate
from weighworthy_service.metrology.quantity import in_quanta


@pytest.fixture
def check(make, weights):
    balance = make.balance(loss_interval="0.01", repeatability="0.0006", capacity="60")
    return make.loss(
        make.loading("S R", "25.000"), make.loading("S", "20.000"), weights, instrument=balance
    )


@pytest.fixture
def prepared(make, check):
    return PreparedLoss(check, make.terms({"loss_error": "0.05 %"}))


def test_brief_by_hand(prepared):
    """25.002 g and 20.000 g: 100·5.002/25.002 = 20.006 399 488 % of 20 % expected.

    Margin (0.05 - 0.006 399 488 04)/0.05 = 0.872 010 239 180 865 …
    """
    brief = prepared.brief(in_quanta(Decimal("25.002")), in_quanta(Decimal("20.000")), None)
    ruling = brief.ruling
    assert (ruling.verdict, ruling.usable, ruling.criterion) == ("pass", True, "loss_error")
    assert brief.value == pytest.approx(0.00639948804095672, rel=1e-14)
    assert (ruling.unit, ruling.lower_limit, ruling.upper_limit) == ("%", -0.05, 0.05)
    assert brief.margin == pytest.approx(0.8720102391808656, rel=1e-14)
    assert "eccentricity-not-stated" in ruling.finding_codes


@pytest.mark.parametrize(
    ("readings", "field"),
    [
        ((None, "20.000", None), ("initial", "indication")),
        (("25.000", None, None), ("final", "indication")),
        (("0.000", "20.000", None), ("initial", "indication")),
        (("-1.000", "20.000", "20.00"), ("initial", "indication")),
    ],
)
def test_readings_that_make_no_check(prepared, readings, field):
    stated = [None if text is None else Decimal(text) for text in readings]
    assert prepared.brief(*[None if x is None else in_quanta(x) for x in stated]) is None
    with pytest.raises(SenseError) as caught:
        prepared.evaluation(*stated)
    assert caught.value.flaws[0].path == field


def test_readings_of_the_check_itself_do_not_count(make, check):
    terms = make.terms({"loss_error": "0.05 %"})
    other = replace(check, initial=replace(check.initial, indication=Decimal("12.345")))
    readings = (Decimal("25.001"), Decimal("20.000"), Decimal("20.00"))
    assert PreparedLoss(other, terms).evaluation(*readings) == evaluate(
        replace(
            check,
            initial=replace(check.initial, indication=readings[0]),
            displayed_loss=readings[2],
        ),
        terms,
    )


def test_of_loads_that_are_never_the_same_few_need_the_whole_computation(prepared, monkeypatch):
    """1000 loads from 24.5 g up: those beside a step of U or of the display are looked at closely,
    and the first of each ruling."""
    closely = []
    real = prepared._weigh
    monkeypatch.setattr(prepared, "_weigh", lambda *of: closely.append(of) or real(*of))
    for n in range(1000):
        start, end = Decimal(24_500 + n).scaleb(-3), Decimal(19_600 + n * 4 // 5).scaleb(-3)
        shown = Decimal(round(10_000 * (start - end) / start)).scaleb(-2)
        brief = prepared.brief(*map(in_quanta, (start, end, shown)))
        assert brief.ruling.verdict in ("pass", "fail")
    assert 0 < len(closely) < 50
