"""What a simulated loss must not pass for, or pass over in silence."""

import pytest

from weighworthy_service.checks.simulated_loss.evaluation import evaluate


@pytest.mark.parametrize(
    ("limit", "verdict"),
    [
        # 20 % are expected: a display that is stuck at zero is off by 20 %.
        ("19.999 %", "pass"),
        ("20 %", "void"),
        ("30 %", "void"),
    ],
)
def test_a_loss_within_its_limit_shows_nothing(run, make, limit, verdict):
    evaluation = run("25.000 20.000", {"loss_error": limit})
    assert evaluation.verdict == verdict
    expected = [] if verdict == "pass" else [("no-pass", "/final/load")]
    assert make.findings(evaluation, "loss-within-tolerance") == expected


def test_nothing_lifted_off_is_no_simulated_loss(make, weights):
    same = make.loss(make.loading("S", "20.000"), make.loading("S", "20.000"), weights)
    evaluation = evaluate(same, make.terms({"loss_error": "0.05 %"}))
    assert (evaluation.verdict, evaluation.usable) == ("void", False)
    off = make.loss(make.loading("S", "20.000"), make.loading("S", "19.000"), weights)
    assert evaluate(off, make.terms({"loss_error": "0.05 %"})).verdict == "fail"


@pytest.mark.parametrize(
    ("capacity", "found"),
    [
        ("25", []),
        ("24", [("void", "/initial/load")]),
        ("19", [("void", "/initial/load"), ("void", "/final/load")]),
    ],
)
def test_without_readings_the_weights_tell_of_overload(run, make, capacity, found):
    balance = make.balance(capacity=capacity, loss_interval="0.01")
    evaluation = run(None, displayed_loss="20.00", instrument=balance)
    assert sorted(make.findings(evaluation, "overload")) == sorted(found)


def test_one_indication_beside_the_displayed_loss_is_told(run, make, displaying):
    evaluation = run(None, displayed_loss="20.00", instrument=displaying)
    assert make.findings(evaluation, "indication-not-used") == []
    weights = [make.weight("S", "20"), make.weight("R", "5")]
    one = make.loss(
        make.loading("S R", "25.003"),
        make.loading("S"),
        weights,
        displayed_loss="20.00",
        instrument=displaying,
    )
    evaluation = evaluate(one, make.terms({"loss_error": "0.05 %"}))
    expected = [("note", "/initial/indication")]
    assert make.findings(evaluation, "indication-not-used") == expected


@pytest.mark.parametrize(("shown", "found"), [("20.01", []), ("20.015", ["warning"])])
def test_a_displayed_loss_off_its_step_is_told(run, make, displaying, shown, found):
    evaluation = run(None, displayed_loss=shown, instrument=displaying)
    told = make.findings(evaluation, "displayed-off-loss-interval")
    assert [severity for severity, _ in told] == found


@pytest.mark.parametrize(
    ("heating", "end", "found"),
    [(False, "105", ["warning"]), (False, "30", []), (True, "105", []), (None, "105", [])],
)
def test_a_chamber_that_contradicts_the_statement_is_told(run, make, heating, end, found):
    chamber = {"start": {"chamber": "21"}, "end": {"chamber": end}}
    evaluation = run("25.000 20.000", heating=heating, **chamber)
    told = make.findings(evaluation, "heating-contradicted")
    assert [severity for severity, _ in told] == found


@pytest.mark.parametrize(
    ("readings", "places"),
    [
        ("25.000 20.000", []),
        # 10 % of 25 g and of 20 g are 2.5 g and 2 g; a value on the edge is inside.
        ("27.500 22.000", []),
        ("27.501 22.001", ["/initial/indication", "/final/indication"]),
        ("22.500 18.000", []),
        ("22.499 17.999", ["/initial/indication", "/final/indication"]),
        # mg taken for g, and a pan of 30 g that was not tared.
        ("25000 20000", ["/initial/indication", "/final/indication"]),
        ("55.000 50.000", ["/initial/indication", "/final/indication"]),
    ],
)
def test_readings_far_from_their_load_cannot_pass(run, make, readings, places):
    """The ratio of both says nothing of their unit: 25,000 to 20,000 is the loss of 25 to 20."""
    evaluation = run(readings)
    found = make.findings(evaluation, "indication-far-from-load")
    assert sorted(found) == sorted(("no-pass", place) for place in places)
    assert evaluation.usable is (not places)


def test_a_fail_stays_a_fail_whatever_its_readings_are_far_from(run):
    assert run("25000 21000").verdict == "fail"
