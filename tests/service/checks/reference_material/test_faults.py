"""What a failed check with a reference material means for results, and for which it speaks."""

from fractions import Fraction

from weighworthy_service.checks.reference_material.as_found import as_found
from weighworthy_service.checks.reference_material.faults import faults
from weighworthy_service.checks.reference_material.reach import reach

BIAS = {"key": "bias", "name": "bias", "value": -0.12, "unit": "%", "expanded_uncertainty": 0.05}
SCATTER = {"key": "scatter", "name": "scatter", "value": 0.06, "unit": "%"}


def test_a_bias_shifts_every_loss_by_as_much():
    (fault,) = faults([BIAS], {})
    effect = fault.effect(Fraction(5), Fraction(2))
    assert (effect.value, effect.uncertainty) == (Fraction("-0.12"), 0.05)
    assert not fault.needs_mass


def test_a_scatter_may_shift_in_either_direction():
    # 2·(0.06 + 0.02)
    (fault,) = faults([{**SCATTER, "expanded_uncertainty": 0.02}], {})
    effect = fault.effect(None, None)
    assert (effect.value, effect.uncertainty) == (0, 0.16)
    assert faults([{"name": "scatter"}], {})[0].effect(None, None).value is None
    assert len(faults([BIAS, SCATTER, {"name": "else"}], {})) == 2


def test_it_speaks_for_like_masses_and_losses():
    results = {"stated_loss": 15.66, "runs": [{"initial_mass": 3.0}, {"initial_mass": 2.0}]}
    covers = reach([], results)
    assert (covers.least_mass, covers.most_mass) == (1, 6)
    assert covers.most_loss == Fraction("31.32")
    displayed = reach([], {"runs": [{"initial_mass": None}]})
    assert (displayed.least_mass, displayed.most_mass, displayed.most_loss) == (None, None, None)


def test_materials_of_another_loss_are_another_series():
    told = list(as_found([BIAS, SCATTER], {"stated_loss": 15.66}))
    assert [(m.criterion, m.value, m.expected_loss) for m in told] == [
        ("bias", -0.12, 15.66),
        ("scatter", 0.06, 15.66),
    ]
    assert not told[0].of_weights
