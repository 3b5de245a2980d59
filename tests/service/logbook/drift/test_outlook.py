"""Where a line and its band meet a limit: by hand, and by walking along them."""

import numpy as np
import pytest

from weighworthy_service.logbook.drift.outlook import HORIZON_DAYS, first_at, outlook, overlaps
from weighworthy_service.logbook.drift.slope import Line, slope_of

# 1 at x = 10, rising 0.1 a day.
RISING = Line(middle=10, value=1, slope=0.1, u_value=0.2, u_slope=0.01, quantile=2)


def test_the_line_itself() -> None:
    # (5 - 1)/0.1 = 40 days after the middle.
    assert first_at(RISING, 5, 0, 20) == pytest.approx(50)
    assert first_at(RISING, 5, 0, 50) == 50
    # Past the limit at the last point: then already.
    assert first_at(RISING, 5, 0, 60) == 60
    assert first_at(RISING, -5, 0, 20) == 20


def test_edges_of_the_band_by_hand() -> None:
    """u(x) = 2·hypot(0.2, 0.01·x), x from the middle; 0.1·x ± u(x) = 4.

    (4 - 0.1x)² = 0.16 + 0.0004x²: 0.0096x² - 0.8x + 15.84 = 0, so x = (0.8 ± √0.031744…)/0.0192:
    0.64 - 4·0.0096·15.84 = 0.031744, root 0.178168, x = 32.38708 and 50.94625.
    """
    assert first_at(RISING, 5, 2, 20) == pytest.approx(42.38708, abs=1e-4)
    assert first_at(RISING, 5, -2, 20) == pytest.approx(60.94625, abs=1e-4)


def test_beyond_ten_years_is_never() -> None:
    slow = Line(middle=0, value=0, slope=0.001, u_value=0, u_slope=0, quantile=2)
    assert HORIZON_DAYS == 3652.5
    assert first_at(slow, 3.6525, 0, 0) == pytest.approx(3652.5)
    assert first_at(slow, 3.653, 0, 0) is None
    assert first_at(slow, 3.653, 0, 1) == pytest.approx(3653)


def test_a_level_line_reaches_nothing() -> None:
    level = Line(middle=0, value=0, slope=0, u_value=0, u_slope=0, quantile=2)
    assert first_at(level, 1, 0, 0) is None
    assert first_at(level, 1, 2, 0) is None
    assert first_at(level, 0, 0, 0) == 0


def walked(line, limit, width, start):
    """The first of many steps at which the edge is at the limit."""
    x = np.arange(start, start + HORIZON_DAYS, 0.25)
    edge = line.value + line.slope * (x - line.middle)
    edge = edge + width * np.hypot(line.u_value, line.u_slope * (x - line.middle))
    there = np.flatnonzero(edge >= limit)
    return float(x[there[0]]) if len(there) else None


def test_edges_by_walking() -> None:
    """Lines of every kind: rising, falling, slopes told from zero or not, limits near and far."""
    generator = np.random.default_rng(20260105)
    reached = 0
    for _ in range(200):
        slope, u_slope = generator.normal(0, 0.02), abs(generator.normal(0, 0.01))
        line = Line(15, generator.normal(), slope, abs(generator.normal(0, 0.3)), u_slope, 2.05)
        limit, start = line.value + abs(generator.normal(0, 3)), generator.uniform(15, 60)
        for width in (0, 2.05, -2.05):
            ours, steps = first_at(line, limit, width, start), walked(line, limit, width, start)
            if steps is None:
                # A crossing in the last step, or one that touches between steps.
                assert ours is None or ours > start + HORIZON_DAYS - 0.3, (line, limit, width)
            else:
                assert ours == pytest.approx(steps, abs=0.3), (line, limit, width)
                reached += 1
    assert reached > 130


def test_instants_for_both_limits(make) -> None:
    """0.1 mg a day exactly, with ±0.1 mg about it in turn: 5 mg after some 40 more days."""
    values = [0.0001 * i + (0.0001 if i % 2 else -0.0001) for i in range(12)]
    points = make.points(values)
    line = slope_of(points).line
    assert line is not None
    found = outlook(points, line)
    assert found is not None
    assert found.upper is not None
    assert found.lower is not None
    days = (0.005 - line.at(0)) / line.slope
    assert abs((found.upper.estimate - make.at(days)).total_seconds()) <= 0.5
    assert points[-1].at < found.upper.earliest < found.upper.estimate < found.upper.latest
    assert (found.upper.limit, found.lower.limit) == (0.005, -0.005)
    assert found.lower[1:] == (None, None, None)


def test_downwards_is_the_mirror_of_upwards(make) -> None:
    values = [0.0001 * i + (0.0001 if i % 3 else -0.0001) for i in range(12)]
    up, down = make.points(values), make.points([-value for value in values])
    above, below = (outlook(points, slope_of(points).line) for points in (up, down))
    assert below.lower[1:] == above.upper[1:]
    assert below.upper[1:] == above.lower[1:]
    assert below.lower.limit == -above.upper.limit


def test_a_slope_not_told_from_zero_has_no_latest(make) -> None:
    values = [0.001, 0.002, 0.001, 0.003, 0.002, 0.001, 0.003, 0.002]
    found = slope_of(make.points(values))
    assert not found.least_squares.differs_from_zero
    seen = outlook(make.points(values), found.line)
    assert seen.upper.estimate is not None
    assert seen.upper.latest is None
    assert seen.lower.earliest is not None
    assert seen.lower.estimate is None


def test_the_limits_in_force_at_the_last_point_count(make) -> None:
    points = make.points([0.0001 * i for i in range(8)])
    points[-1] = points[-1]._replace(upper_limit=0.002, lower_limit=None)
    found = outlook(points, slope_of(points).line)
    assert found.upper.limit == 0.002
    assert found.lower is None
    points[-1] = points[-1]._replace(upper_limit=None)
    assert outlook(points, slope_of(points).line) is None


def test_already_is_the_instant_of_the_last_point(make) -> None:
    """Also where that is no whole second."""
    points = make.points([0.001 * i for i in range(8)], [i + 0.6 / 86_400 * i for i in range(8)])
    found = outlook(points, slope_of(points).line)
    assert found.upper[1:] == (points[-1].at,) * 3


@pytest.mark.parametrize(
    ("value", "u", "beyond"),
    [
        # 3.4 + 1.6 = 5.0 mg is on the limit, and on it is inside.
        (0.0034, 0.0016, False),
        (0.0035, 0.0016, True),
        (-0.0034, 0.0016, False),
        (-0.0035, 0.0016, True),
        (0.006, 0.0001, True),
        (0.0049, None, None),
    ],
)
def test_whether_the_last_uncertainty_overlaps(make, value, u, beyond) -> None:
    (point,) = make.points([value], expanded_uncertainty=u)
    assert overlaps(point) is beyond


def test_decimals_decide_an_overlap(make) -> None:
    """0.1 + 0.2 > 0.3 in floats, and not in decimals."""
    (point,) = make.points([0.1], expanded_uncertainty=0.2, lower_limit=None, upper_limit=0.3)
    assert 0.1 + 0.2 > 0.3
    assert overlaps(point) is False
