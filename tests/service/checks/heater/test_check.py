"""What of a heater check cannot be sense."""

import pytest

from weighworthy_service.checks.flaws import SenseError


@pytest.mark.parametrize(("corrections", "position"), [("50:0 50:0.1", 1), ("50:0 90:0 60:0", 2)])
def test_corrections_rise(heat, corrections, position):
    with pytest.raises(SenseError) as refused:
        heat.check(heat.probe(corrections), heat.point("60", "60"))
    (flaw,) = refused.value.flaws
    assert flaw.path == ("probe", "corrections", position, "at")
    assert flaw.code == "not-rising"


def test_what_a_settling_time_rests_on_is_needed(heat):
    stated = heat.point("60", "60", settled_after="300")
    followed = heat.point("60", "60", "0:20 60:60 60:60")
    with pytest.raises(SenseError) as refused:
        heat.check(heat.probe(), stated, followed)
    assert [(flaw.path, flaw.code) for flaw in refused.value.flaws] == [
        (("time_step",), "required"),
        (("set_points", 1, "series", 2, "at"), "not-rising"),
        (("settled_within",), "required"),
    ]


def test_a_series_needs_no_step_and_a_stated_time_no_band(heat):
    heat.check(heat.probe(), heat.point("60", "60", settled_after="300"), time_step="60")
    heat.check(heat.probe(), heat.point("60", "60", "0:20 60:60"), settled_within="1")
