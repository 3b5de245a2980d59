"""Losses from displayed readings: which final readings pass, and what a repeatability of zero does.

From 12 g to 10 g in steps of 1 mg; 100/6 % is lost. The initial reading is 12.000 g unless the zero
lies just where a step ends, so without repeatability only the final reading counts.
"""

from decimal import Decimal
from fractions import Fraction

import numpy as np
import pytest

from weighworthy_service.checks.simulated_loss.steps import LossSteps
from weighworthy_service.metrology.limits import Interval

STEP = Decimal("0.001")
WET = LossSteps(Fraction(12), Fraction(10), "wet", 0.0)
DRY = LossSteps(Fraction(12), Fraction(10), "dry", 0.0)
BOTH = (True, True)
# One step of the final reading: 100/12 % of 1 mg wet; 100·12/10² % of 1 mg dry.
STEP_WET, STEP_DRY = 100 / 12_000, 0.012


def within(percent: str) -> Interval:
    return Interval(-Fraction(percent), Fraction(percent))


@pytest.mark.parametrize(
    ("loss", "step", "percent"), [(WET, STEP_WET, "0.02"), (DRY, STEP_DRY, "0.03")]
)
def test_final_readings_up_to_two_steps_off_pass(loss, step, percent) -> None:
    """0.02 % is 2.4 steps, on dry basis 0.03 % is 2.5: a balance off by up to 2 steps passes.

    Off by 3 it fails; off by 2.5, half of the positions of the zero between two steps pass.
    """
    passes = loss.passes(within(percent), BOTH, STEP, 0.0001)
    off = step * np.array([-3, -2.5, -2, -1, 0, 1, 2, 2.5, 3])
    expected = [0, 0.5, 1, 1, 1, 1, 1, 0.5, 0]
    assert passes(off) == pytest.approx(expected, abs=0.09)  # a twelfth: the positions gone through


def test_a_value_on_a_limit_passes_if_it_does() -> None:
    """0.025 % are three steps exactly."""
    closed = WET.passes(within("0.025"), BOTH, STEP, 0.0001)
    opened = WET.passes(within("0.025"), (False, False), STEP, 0.0001)
    off = STEP_WET * np.array([-3, 3])
    assert closed(off) == pytest.approx([1, 1])
    assert opened(off) == pytest.approx([0, 0], abs=0.02)


def test_one_limit_alone() -> None:
    above = WET.passes(Interval(None, Fraction("0.02")), BOTH, STEP, 0.0001)
    below = WET.passes(Interval(Fraction("-0.02"), None), BOTH, STEP, 0.0001)
    off = STEP_WET * np.array([-4, 0, 4])
    assert above(off) == pytest.approx([1, 1, 0], abs=1e-6)
    assert below(off) == pytest.approx([0, 1, 1], abs=1e-6)
    # A dry loss of -100 % and less cannot be: any final reading is enough.
    assert DRY.passes(Interval(Fraction(-200), None), BOTH, STEP, 0.0001)(np.zeros(1)) == 1


def test_what_rounding_alone_can_do() -> None:
    assert WET.rounding(STEP) == Fraction(1, 120)
    assert DRY.rounding(STEP) == Fraction("0.012")


@pytest.mark.parametrize(("s", "steps"), [(0.0, True), (0.003, True), (0.0031, False)])
def test_where_steps_still_show(s, steps) -> None:
    assert LossSteps(Fraction(12), Fraction(10), "wet", s).has_grid(STEP) is steps


def test_all_probability_is_gone_through() -> None:
    loss = LossSteps(Fraction(12), Fraction(10), "wet", 0.002)
    everything = loss.passes(Interval(Fraction(-50), Fraction(50)), BOTH, STEP, 0.03)
    assert everything(np.zeros(1)) == pytest.approx(1, abs=1e-12)
