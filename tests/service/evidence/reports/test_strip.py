import re

import pytest

from weighworthy_service.evidence.reports.strip import WIDTH, Shown, scale_of, strip


def shown(
    value: float, expanded: float, lower: float | None, upper: float | None, guard: float = 0
) -> Shown:
    return Shown(value, expanded, lower, upper, (None, None), guard, "title")


def diamonds(drawing: str) -> list[float]:
    """Where diamonds stand: their top corner is above their middle."""
    found = re.findall(r'<polygon points="([-0-9.]+),19 ', drawing)
    return [float(x) for x in found]


def test_limits_stand_at_one_and_four_fifths() -> None:
    scale = scale_of(0.0, 1.0, -5.0, 5.0)
    assert scale.place(-5) == pytest.approx(1 / 5)
    assert scale.place(5) == pytest.approx(4 / 5)
    assert scale.place(0) == pytest.approx(1 / 2)


def test_a_marker_stands_where_it_is_reckoned_by_hand() -> None:
    # Limits ±5, so the strip goes from -5 - 10/3 to 5 + 10/3, a width of 50/3. A value of 1.05
    # stands at (1.05 + 5 + 10/3) / (50/3) = 9.38333.../16.66666... = 0.563 of it; of 620: 349.06.
    drawing = strip(shown(1.05, 1.6, -5.0, 5.0))
    assert WIDTH == 620
    assert diamonds(drawing) == [pytest.approx(349.06, abs=0.005)]
    # The bar of its uncertainty: from (-0.55 + 25/3)/(50/3) = 0.467 to
    # (2.65 + 25/3)/(50/3) = 0.659.
    bars = re.findall(r'<line[^>]*x1="([0-9.]+)" y1="34" x2="([0-9.]+)" y2="34"', drawing)
    assert (289.54, 408.58) in [(float(a), float(b)) for a, b in bars]


def test_limits_that_differ_in_size() -> None:
    # Limits -1 and 3: from -1 - 4/3 to 3 + 4/3, so zero stands at (7/3) / (20/3) = 0.35.
    assert scale_of(0.0, 0.1, -1.0, 3.0).place(0) == pytest.approx(0.35)


def test_more_is_shown_where_a_value_reaches_farther() -> None:
    # 9.05 + 1.8 = 10.85, and 3 % of the tolerance of 10 beside it: 11.15. From -25/3 the value
    # stands at (9.05 + 25/3) / (11.15 + 25/3) = 17.38333/19.48333 = 0.892215.
    scale = scale_of(9.05, 1.8, -5.0, 5.0)
    assert scale.high == pytest.approx(11.15)
    assert scale.place(9.05) == pytest.approx(0.892215, abs=1e-6)


def test_what_lies_too_far_is_an_arrow() -> None:
    drawing = strip(shown(100.0, 1.0, -5.0, 5.0))
    assert diamonds(drawing) == []
    assert f'<polygon points="{WIDTH:.0f},34' in drawing
    other = strip(shown(-100.0, 1.0, -5.0, 5.0))
    assert '<polygon points="0,34' in other


def test_a_guard_band_has_acceptance_limits() -> None:
    # ±5 less 1.6: 3.4 stands at (3.4 + 25/3)/(50/3) = 0.704 of 620, so at 436.48.
    drawing = strip(shown(0.0, 1.6, -5.0, 5.0, guard=1.6))
    dashed = re.findall(r'<line(?=[^>]*dasharray)[^>]*x1="([0-9.]+)"', drawing)
    assert [float(x) for x in dashed] == [pytest.approx(183.52), pytest.approx(436.48)]
    assert "dasharray" not in strip(shown(0.0, 1.6, -5.0, 5.0))


def test_a_limit_on_one_side_leaves_the_other_open() -> None:
    drawing = strip(shown(1.0, 0.5, None, 2.0))
    boxes = re.findall(r'<rect x="([0-9.]+)"', drawing)
    assert boxes == ["0"]


@pytest.mark.parametrize("limits", [(None, None), (0.0, 0.0), (5.0, -5.0), (1e-300, 2e-300)])
def test_odd_limits_can_be_drawn(limits: tuple[float | None, float | None]) -> None:
    assert strip(shown(0.0, 0.0, *limits)).startswith("<svg")
