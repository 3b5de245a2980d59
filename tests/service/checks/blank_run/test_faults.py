"""What a failed blank run means for a result, against readings of a balance whose zero falls."""

from decimal import Decimal
from fractions import Fraction

from weighworthy_service.checks.blank_run.faults import faults
from weighworthy_service.checks.blank_run.reach import reach

CHANGE = {
    "key": "zero_change",
    "name": "zero_change",
    "value": -0.004,
    "expanded_uncertainty": 0.001,
}
EFFECT = {
    "key": "moisture_effect",
    "name": "moisture_effect",
    "value": 0.08,
    "load": 5.0,
    "expanded_uncertainty": 0.02,
}


def test_a_zero_that_falls_through_a_run():
    # 2 g of which 1.8 g stay, zero - 4 mg at the end: 1.796, so 10.2 % for 10 %.
    reported = 100 * (Decimal(2) - Decimal("1.796")) / 2
    (fault,) = faults([CHANGE, EFFECT], {})
    effect = fault.effect(Fraction(reported), Fraction(2))
    assert effect.value == Fraction(reported) - 10
    # 100·1 mg/2 g
    assert effect.uncertainty == 0.05


def test_the_effect_alone_tells_the_same():
    (fault,) = faults([EFFECT], {})
    assert fault.name == "hot-zero-change"
    assert fault.effect(None, Fraction(2)).value == Fraction(2, 10)
    assert fault.effect(None, Fraction(2)).uncertainty == 0.05
    # Of the usual sample, where the result states no mass.
    assert fault.own_mass == 5
    assert fault.effect(None, fault.own_mass).value == Fraction(8, 100)


def test_answers_that_lack_figures_give_no_shift():
    (fault,) = faults([{"name": "moisture_effect", "load": 5.0}], {})
    assert fault.effect(None, Fraction(2)).value is None
    (fault,) = faults([{"name": "moisture_effect", "value": 0.08}], {})
    assert fault.effect(None, Fraction(2)).value is None
    assert faults([{"name": "something-else"}], {}) == ()


def test_it_speaks_for_any_mass_and_loss():
    covers = reach([CHANGE], {})
    assert covers.any_mass
    assert covers.any_loss
