"""USP general chapter <41>, text of 2019: accuracy and the repeatability of a rounded reading.

Read in quotations and summaries of the chapter, not in the chapter. Accuracy: a weight of 5 % to
100 % of the capacity deviates by at most 0.10 %; its own error is at most a third of that. A
standard deviation below 0.41 d is replaced by 0.41 d. No check here is its repeatability test.
"""

from decimal import Decimal
from math import sqrt

import pytest

from weighworthy_service.checks.span.check import Round, SpanCheck
from weighworthy_service.checks.span.evaluation import evaluate
from weighworthy_service.checks.terms import Validity, WeightShare


def _answer(make, shown: str, weight_class="OIML F2"):
    around = make.circumstances(make.instrument("0.001"), [make.weight("W", "50", weight_class)])
    check = SpanCheck(around, (Round("as-found", ("W",), Decimal(0), Decimal(shown)),))
    third = Validity(weights_at_most=WeightShare(1, 3, "void"))
    limits = {"span_error": make.limit(within="0.10 % of load")}
    return evaluate(check, make.terms(limits, validity=third))


@pytest.mark.parametrize(
    ("shown", "verdict"),
    # 0.10 % of 50 g is 0.050 g, ends included.
    [("50.050", "pass"), ("50.051", "fail"), ("49.950", "pass"), ("49.949", "fail")],
)
def test_accuracy(make, shown, verdict) -> None:
    answer = _answer(make, shown)
    assert answer.verdict == verdict


@pytest.mark.parametrize(
    ("weight_class", "verdict"),
    # A third of 50 mg is 16.7 mg: an M3 weight of 50 g (30 mg) is too coarse, M2 (10 mg) is not.
    [("OIML M2", "pass"), ("OIML M3", "void")],
)
def test_accuracy_weight(make, weight_class, verdict) -> None:
    answer = _answer(make, "50.000", weight_class)
    assert answer.verdict == verdict


def test_where_0_41_d_comes_from(make) -> None:
    """Two roundings, zero and load: √2·d/√12 = 0.408 d."""
    answer = _answer(make, "50.000")
    (criterion,) = (c for c in answer.criteria if c.name == "span_error")
    rounding = [r.contribution for r in criterion.budget if r.source.startswith("digitisation")]
    assert len(rounding) == 2
    assert sqrt(sum(c**2 for c in rounding)) / 0.001 == pytest.approx(0.41, abs=0.005)
    assert sqrt(sum(c**2 for c in rounding)) / 0.001 == pytest.approx(0.408, abs=0.0005)
