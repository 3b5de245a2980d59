"""A prepared check: whatever the readings, it says what the check as a whole says."""

from dataclasses import replace
from decimal import Decimal

import pytest

from weighworthy_service.checks.flaws import SenseError
from weighworthy_service.checks.simulated_loss.evaluation import PreparedLoss, evaluate


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
    brief = prepared.brief(Decimal("25.002"), Decimal("20.000"), None)
    assert (brief.verdict, brief.usable, brief.criterion) == ("pass", True, "loss_error")
    assert brief.value == pytest.approx(0.00639948804095672, rel=1e-14)
    assert (brief.unit, brief.lower_limit, brief.upper_limit) == ("%", -0.05, 0.05)
    assert brief.margin == pytest.approx(0.8720102391808656, rel=1e-14)
    assert "eccentricity-not-stated" in brief.finding_codes


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
    assert prepared.brief(*stated) is None
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
