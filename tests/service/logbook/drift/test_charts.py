"""Charts: formulas by hand, and edges. The examples of handbooks are in tests/published."""

import pytest

from weighworthy_service.logbook.drift.charts import (
    FEWEST,
    baseline_of,
    cusum,
    display_step,
    estimated,
    ewma,
)

TWELVE = [1.0, 2.0] * 6


def test_baseline_by_hand() -> None:
    """Eleven moving ranges of 1: sigma 1/1.128379, centre 1.5."""
    baseline = baseline_of(TWELVE, 20)
    assert baseline is not None
    assert baseline.points == FEWEST == 12
    assert baseline.centre == 1.5
    assert baseline.mean_moving_range == 1
    assert baseline.sigma == pytest.approx(0.886227, abs=1e-6)
    # Textbook: 2.66 and 3.267 times the mean moving range.
    assert baseline.upper == pytest.approx(1.5 + 2.66, abs=0.002)
    assert baseline.lower == pytest.approx(1.5 - 2.66, abs=0.002)
    assert baseline.upper_moving_range == pytest.approx(3.267, abs=0.0005)


def test_the_step_of_a_display_shows_in_equal_values() -> None:
    """0.3 - 0.1 and 0.2 - 0.1 are no exact tenths in floats."""
    shown = [0.1, 0.3, 0.2, 0.1, 0.3, 0.2, 0.1 + 1e-16, 0.3, 0.5, 0.1, 0.2, 0.3]
    assert display_step(shown) == pytest.approx(0.1)
    assert baseline_of(shown, 20).neither_side == pytest.approx(0.05 / estimated(shown).sigma)
    assert display_step([0.1, 0.2, 0.2, 0.31, 0.44, 0.58, 0.71]) == 0
    assert display_step([0.1, 0.1]) == 0


def test_the_first_points_are_the_baseline() -> None:
    assert baseline_of([*TWELVE, 9.0, 9.0], 12) == baseline_of(TWELVE, 12)
    assert baseline_of([*TWELVE, 9.0], 20).points == 13


@pytest.mark.parametrize("values", [TWELVE[:11], [], [0.003] * 20, [1 / 3, 1 / 3 + 1e-16] * 10])
def test_no_baseline(values) -> None:
    assert baseline_of(values, 20) is None


def test_a_slow_trend_hardly_widens_sigma() -> None:
    """A rise of 0.1 a point: the standard deviation takes all of it, moving ranges one step."""
    rising = [value + 0.1 * i for i, value in enumerate(TWELVE)]
    # Ranges of 1.1 (six) and 0.9 (five): their mean is 1.0091 of what it was.
    assert estimated(rising).mean_moving_range == pytest.approx((6 * 1.1 + 5 * 0.9) / 11)


def test_ewma_by_hand() -> None:
    """λ ½: half of the way to each value. Limits ±3·√(0.5/1.5) = ±1.7320508."""
    found = ewma([2.0, 2.0, 2.0, 2.0], 0, 1, weight=0.5, width=3)
    assert found.values == (1.0, 1.5, 1.75, 1.875)
    assert found.upper == pytest.approx(1.7320508)
    assert found.lower == pytest.approx(-1.7320508)
    assert found.outside == (2, 3)


def test_cusum_by_hand() -> None:
    found = cusum([1.5, 1.0, -3.0, -3.0, -0.5], 0, 1, allowance=0.5, limit=5)
    assert found.high == (1.0, 1.5, 0.0, 0.0, 0.0)
    assert found.low == (0.0, 0.0, 2.5, 5.0, 5.0)
    # On the limit is inside.
    assert found.outside_low == ()
    assert cusum([-3.0, -3.1], 0, 1, limit=5).outside_low == (1,)
    assert cusum([6.0, -2.0], 0, 1, limit=5).outside_high == (0,)


def test_cusum_in_units_of_sigma() -> None:
    assert cusum([13.0], 10, 2).high == (1.0,)
