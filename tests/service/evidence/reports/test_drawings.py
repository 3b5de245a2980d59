import re
from typing import Any

import pytest

from weighworthy_service.evidence.reports.axes import Frame, labelled, spread, ticks
from weighworthy_service.evidence.reports.drift_plot import drift_plot
from weighworthy_service.evidence.reports.plots.linearity import plot as linearity_plot
from weighworthy_service.evidence.reports.words import words


@pytest.mark.parametrize(
    ("low", "high", "most", "found"),
    [
        (0, 50, 5, [0, 10, 20, 30, 40, 50]),
        (-0.07, 0.07, 7, [-0.06, -0.04, -0.02, 0, 0.02, 0.04, 0.06]),
        (0.98, 1.02, 4, [0.98, 0.99, 1.0, 1.01, 1.02]),
        (3, 3, 5, [3]),
    ],
)
def test_ticks_are_round_numbers(low: float, high: float, most: int, found: list[float]) -> None:
    assert ticks(low, high, most) == [pytest.approx(one) for one in found]


def test_a_range_is_never_empty() -> None:
    assert spread([0.0, 10.0], 0.1) == (-1.0, 11.0)
    for value in (0.0, 5.0, -2.0):
        low, high = spread([value])
        assert low < value < high


def test_places_in_a_frame_are_those_reckoned_by_hand() -> None:
    # 1000 wide with 100 and 50 beside: 850 inside; 25 of 0 to 100 is at 100 + 850/4 = 312.5.
    # 500 high with 20 above and 80 below: 400 inside; 1 of -1 to 3 is half: 500 - 80 - 200 = 220.
    frame = Frame(1000, 500, (0, 100), (-1, 3), left=100, right=50, top=20, bottom=80)
    assert frame.x(25) == pytest.approx(312.5)
    assert frame.y(1) == pytest.approx(220)


def test_labels_are_free_of_what_floats_add() -> None:
    assert labelled([0.1 + 0.2, -0.0], words("de").number) == [
        (pytest.approx(0.3), "0,3"),
        (0.0, "0"),
    ]


def point(load: float, error: float, direction: str, verdict: str) -> dict[str, Any]:
    return {
        "load": load,
        "error": error,
        "direction": direction,
        "expanded_uncertainty": 0.001,
        "lower_limit": -0.005,
        "upper_limit": 0.005,
        "verdict": verdict,
    }


def test_points_of_a_linearity_check_stand_by_load_and_error() -> None:
    points = [
        point(0.0, 0.0, "up", "pass"),
        point(50.0, 0.004, "up", "pass"),
        point(50.0, 0.008, "down", "fail"),
    ]
    results = {
        "points": points,
        "curve": [{"load": 50.0, "error": 0.006}],
        "hysteresis": [{"load": 50.0, "value": 0.004}],
    }
    drawing = str(linearity_plot(words("en"), {"results": results}, None))
    # Errors with their uncertainties and limits span -5 to 9 mg, and 6 % of 14 beside: -5.84 to
    # 9.84. The frame is 1780 by 700 with 120 left, 30 right, 70 above, 90 below, so 540 inside:
    # 8 mg is at 700 - 90 - 540·13.84/15.68 = 133.37, and 50 of 52 g at 120 + 1630·50/52 = 1687.31;
    # what went down stands 13 to the right, its lower corner 14 below: 147.37.
    assert "1700.31,147.37" in drawing
    # The fail has a frame about it, of 44 tenths of a millimetre.
    assert 'width="44" height="44"' in drawing
    # Hysteresis from 4 to 8 mg: 540·4/15.68 = 137.76 high.
    assert 'height="137.76"' in drawing
    assert linearity_plot(words("en"), {"results": {}}, None) is None


def series(*values: float, expanded: float | None = 0.001) -> dict[str, Any]:
    points = [
        {
            "entry": f"c-{i}",
            "at": f"2026-03-{i:02d}T07:00:00+01:00",
            "value": value,
            "expanded_uncertainty": expanded,
            "lower_limit": -0.005,
            "upper_limit": 0.005,
        }
        for i, value in enumerate(values, start=1)
    ]
    return {"unit": "g", "points": points, "chart": None}


def test_a_limit_far_from_all_values_is_not_drawn() -> None:
    near = str(drift_plot(words("en"), series(0.001, 0.002)))
    assert near.count(">limit</text>") == 2
    # Values within 0.02 mg, sure to 0.01 mg: 5 mg would flatten them to a line.
    far = str(drift_plot(words("en"), series(0.00001, 0.00003, expanded=0.00001)))
    assert ">limit</text>" not in far
    # Values that agree are no finer than their uncertainty.
    same = str(drift_plot(words("en"), series(0.001, 0.001)))
    assert same.count(">limit</text>") == 2


def test_one_point_is_a_chart_too() -> None:
    drawing = str(drift_plot(words("de"), series(0.001)))
    assert len(re.findall("<circle", drawing)) == 1
    assert "01.03.2026" in drawing
