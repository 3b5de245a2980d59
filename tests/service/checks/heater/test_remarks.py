"""What a heater check tells besides its verdict."""

from datetime import date, datetime
from decimal import Decimal

import pytest

from weighworthy_service.checks.terms import AtLeast, Validity

AT = datetime.fromisoformat("2026-03-16T08:05:00+01:00")


def point(heat, **more):
    return heat.point("60", "60.1 60.2", **more)


def found(heat, make, code, of, here=None, **more):
    validity = more.pop("validity", Validity())
    check = heat.check(of, more.pop("point", None) or point(heat), here=here, **more)
    return make.findings(heat.judged(check, validity=validity), code)


@pytest.mark.parametrize(
    ("due", "severities"),
    [(date(2026, 3, 15), ["void"]), (date(2026, 3, 16), []), (date(2026, 3, 17), [])],
)
def test_a_probe_past_its_due_date(heat, make, due, severities):
    """The day itself is still in date."""
    here = {"performed_at": AT}
    said = found(heat, make, "probe-overdue", heat.probe(due_on=due), here)
    assert said == [(severity, "/probe/due_on") for severity in severities]


def test_dates_follow_the_profile(heat, make):
    strict = Validity(weights_in_date="warning")
    said = found(heat, make, "not-stated", heat.probe(), validity=strict)
    assert said == [("warning", "/probe/due_on")]
    due = heat.probe(due_on=date(2026, 1, 1))
    assert found(heat, make, "not-stated", due) == [("note", "/performed_at")]
    said = found(heat, make, "probe-overdue", due, {"performed_at": AT}, validity=strict)
    assert said == [("warning", "/probe/due_on")]


def test_a_probe_calibrated_after_the_check(heat, make):
    later = heat.probe(calibrated_on=date(2026, 3, 17))
    said = found(heat, make, "calibrated-after-check", later, {"performed_at": AT})
    assert said == [("warning", "/probe/calibrated_on")]


@pytest.mark.parametrize(
    ("code", "severity", "stated"),
    [
        ("immersion-not-stated", "warning", {"immersion_allowance": "0"}),
        ("probe-drift-not-included", "note", {"drift": "0"}),
        ("coverage-factor-assumed", "note", {"coverage_factor": "2"}),
    ],
)
def test_what_is_not_stated_of_the_probe_is_no_guess(heat, make, code, severity, stated):
    ((said, _),) = found(heat, make, code, heat.probe())
    assert said == severity
    assert found(heat, make, code, heat.probe(**stated)) == []


def test_corrections_and_place(heat, make):
    assert found(heat, make, "corrections-not-stated", heat.probe())
    assert not found(heat, make, "corrections-not-stated", heat.probe("50:0 90:0"))
    assert found(heat, make, "place-not-stated", heat.probe())
    assert not found(heat, make, "place-not-stated", heat.probe(), place="above the pan")
    assert found(heat, make, "probe-is-not-the-sample", heat.probe()) == [("note", "/probe")]


def test_one_reading_has_no_scatter(heat, make):
    field = "/set_points/0/readings"
    one = heat.point("60", "60.1")
    assert found(heat, make, "one-reading", heat.probe(), point=one) == [("warning", field)]
    off = heat.point("60", "60.1 60.15")
    assert found(heat, make, "reading-off-interval", heat.probe(), point=off) == [
        ("warning", field)
    ]


def test_settled_is_held_to_what_was_said(heat, make):
    field = "/set_points/0/readings"
    # Mean 60.5: 60.1 is 0.4 off.
    wide = heat.point("60", "60.1 60.9")
    for band, severities in (("0.4", []), ("0.3", ["void"])):
        said = found(heat, make, "not-settled", heat.probe(), point=wide, settled_within=band)
        assert said == [(severity, field) for severity in severities]
    unstable = point(heat, stable=False)
    said = found(heat, make, "unstable", heat.probe(), point=unstable)
    assert said == [("void", "/set_points/0/stable")]


@pytest.mark.parametrize(
    ("readings", "told"),
    [
        ("60.0 60.1 60.2 60.3 60.4", True),  # no scatter about the line at all
        ("60.0 60.0 60.1 60.1", False),  # no more than a step
        # Change 4·0.05 = 0.2; residuals 0.508 − 0.05²·10 = 0.483, so t = 0.05/√(0.483/30) = 0.4.
        ("60.0 60.6 59.9 60.7 60.2", False),
        ("60.4 60.3 60.2 60.1 60.0", True),
    ],
)
def test_a_temperature_that_is_still_changing(heat, make, readings, told):
    said = found(heat, make, "still-drifting", heat.probe(), point=heat.point("60", readings))
    assert said == ([("warning", "/set_points/0/readings")] if told else [])


SERIES = "0:20 60:58.0 120:60.2 180:60.1"


@pytest.mark.parametrize(
    ("series", "words"), [("0:60.1 60:60.2", "begins within"), ("0:60.1 60:75", "ends outside")]
)
def test_a_series_that_shows_no_settling(heat, make, series, words):
    of = heat.check(heat.probe(), point(heat, series=series), settled_within="1")
    evaluation = heat.judged(of)
    assert make.findings(evaluation, "settling-not-shown") == [("warning", "/set_points/0/series")]
    assert make.criterion(evaluation, "settling_time").value is None
    assert any(words in f.message for f in evaluation.findings)


@pytest.mark.parametrize(
    ("stated", "agrees"), [("59", False), ("60", True), ("120", True), ("121", False)]
)
def test_a_stated_settling_time_beside_a_series(heat, make, stated, agrees):
    both = point(heat, series=SERIES, settled_after=stated)
    evaluation = heat.judged(heat.check(heat.probe(), both, settled_within="1"))
    assert make.criterion(evaluation, "settling_time").value == Decimal(120)
    said = make.findings(evaluation, "settled-after-disagrees")
    assert said == ([] if agrees else [("warning", "/set_points/0/settled_after")])


def test_a_display_without_its_step(heat, make):
    shown = point(heat, displayed="60")
    code = "display-interval-not-stated"
    assert found(heat, make, code, heat.probe(), point=shown) == [("warning", "/display_interval")]
    assert not found(heat, make, code, heat.probe(), point=shown, display_interval="1")
    assert not found(heat, make, code, heat.probe())


def test_a_warm_up_that_the_profile_requires(heat, make):
    required = Validity(warm_up=AtLeast(Decimal(3600), "void"))
    for minutes, said in ((59, [("void", "/warm_up")]), (60, [])):
        here = {"warm_up": Decimal(60 * minutes)}
        assert found(heat, make, "warm-up-short", heat.probe(), here, validity=required) == said
