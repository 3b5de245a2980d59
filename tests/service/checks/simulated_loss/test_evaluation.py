"""A simulated loss judged: S = 20 g stays, R = 5 g is lifted off, so 20 % wet and 25 % dry."""

from decimal import Decimal
from fractions import Fraction

import pytest

from weighworthy_service.checks.simulated_loss.evaluation import evaluate
from weighworthy_service.checks.terms import StartWindow


def test_the_loss_from_masses(run):
    evaluation = run("25.002 20.001")
    # 100·5.001/25.002 = 500100/25002
    assert evaluation.results["loss"] == Fraction(500100, 25002)
    assert evaluation.results["expected_loss"] == 20
    assert evaluation.criteria[0].value == Fraction(500100, 25002) - 20
    assert (evaluation.results["evaluated_from"], evaluation.results["basis"]) == ("masses", "wet")
    assert (evaluation.results["initial_mass"], evaluation.results["final_mass"]) == (25, 20)


def test_the_loss_on_dry_basis(run):
    evaluation = run("25.000 20.001", basis="dry")
    # 100·4.999/20.001 - 25
    assert evaluation.criteria[0].value == Fraction(499900, 20001) - 25


@pytest.mark.parametrize(
    ("readings", "verdict"),
    [
        # 100·(5 + x)/25 with I0 = 25 g: 0.0125 g are 0.05 % exactly, on either side.
        ("25.000 19.9875", "pass"),
        ("25.000 20.0125", "pass"),
        ("25.000 19.987499999", "fail"),
        ("25.000 20.012500001", "fail"),
    ],
)
def test_an_error_on_the_limit_passes(run, readings, verdict):
    assert run(readings).verdict == verdict


@pytest.mark.parametrize(
    ("displayed", "verdict"),
    [("20.05", "pass"), ("19.95", "pass"), ("20.06", "fail"), ("19.94", "fail")],
)
def test_the_displayed_loss_alone(run, displaying, displayed, verdict):
    evaluation = run(None, displayed_loss=displayed, instrument=displaying)
    assert evaluation.verdict == verdict
    assert evaluation.results["evaluated_from"] == "displayed-loss"
    assert evaluation.results["loss_from_masses"] is None


def test_masses_count_where_both_are_given(run, displaying):
    evaluation = run("25.000 20.000", displayed_loss="21.00", instrument=displaying)
    assert (evaluation.verdict, evaluation.criteria[0].value) == ("pass", 0)


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ({"heating": True}, True),
        ({"start": {"chamber": "21"}, "end": {"chamber": "105"}}, True),
        ({}, False),
        ({"heating": False}, False),
    ],
)
def test_heat_that_nobody_accounts_for_is_told(run, hot, make, said, told):
    def warned(**balance):
        evaluation = run(instrument=hot(**balance), **said)
        return make.findings(evaluation, "heat-not-in-uncertainty")

    warning = ("warning", "/instrument/hot_zero_drift")
    assert warned() == ([warning] if told else [])
    assert warned(drift="0.001") == []
    assert warned(drift="0") == []
    assert warned(shift="0.001") == []


WINDOW = StartWindow(Decimal(25), Decimal("0.5"))
OFF = [("void", "/initial/indication")]


@pytest.mark.parametrize(
    ("readings", "found"),
    [
        ("24.5 19.6", []),
        ("25.5 20.4", []),
        ("24.499 19.6", OFF),
        ("25.501 20.4", OFF),
    ],
)
def test_the_start_window_includes_its_ends(run, make, readings, found):
    evaluation = run(readings, start_window=WINDOW)
    assert make.findings(evaluation, "start-load-off-window") == found
    assert (evaluation.verdict == "void") == bool(found)


def test_without_an_indication_the_window_is_held_against_the_nominal_load(run, make, displaying):
    def of(window):
        return run(None, displayed_loss="20", instrument=displaying, start_window=window)

    evaluation = of(WINDOW)
    assert make.findings(evaluation, "window-from-nominal") == [("note", "/initial/indication")]
    assert make.findings(evaluation, "start-load-off-window") == []
    assert make.findings(of(StartWindow(Decimal(24), Decimal("0.5"))), "start-load-off-window")


def test_a_profile_may_only_warn_of_the_window(run, make):
    lenient = StartWindow(Decimal(24), Decimal("0.5"), "warning")
    evaluation = run(start_window=lenient)
    assert evaluation.verdict == "pass"
    assert make.findings(evaluation, "start-load-off-window") == [
        ("warning", "/initial/indication")
    ]


# Both readings and their common zero hide (3.2 + 4 + 0.8)·d/2 = 0.004 %, the display 0.005 %.
@pytest.mark.parametrize(
    ("displayed", "rounding", "disagrees"),
    [
        ("20.009", "nearest", False),
        ("19.991", "nearest", False),
        ("20.0090001", "nearest", True),
        ("19.9909999", "nearest", True),
        ("20.014", "down", False),
        ("19.986", "down", False),
        ("19.9859999", "down", True),
    ],
)
def test_displayed_and_masses_disagree_beyond_rounding(run, make, displayed, rounding, disagrees):
    balance = make.balance(loss_interval="0.01", loss_rounding=rounding)
    evaluation = run(displayed_loss=displayed, instrument=balance)
    told = [("warning", "/displayed_loss")] if disagrees else []
    assert make.findings(evaluation, "displayed-disagrees") == told


def test_without_loss_interval_they_are_not_compared(run, make):
    evaluation = run(displayed_loss="99")
    assert make.findings(evaluation, "displayed-not-compared") == [
        ("note", "/instrument/loss_interval")
    ]
    assert make.findings(evaluation, "displayed-disagrees") == []


def test_a_negative_loss_is_told_and_judged(run, make, displaying):
    evaluation = run("25.000 25.001")
    assert make.findings(evaluation, "loss-negative") == [("warning", "/final/indication")]
    assert evaluation.verdict == "fail"
    shown = run(None, displayed_loss="-0.01", instrument=displaying)
    assert make.findings(shown, "loss-negative") == [("warning", "/displayed_loss")]
    assert make.findings(run("25.000 25.000"), "loss-negative") == []


def test_a_limit_in_counts_refers_to_the_initial_load(run):
    # 2 d = 2 mg of 25 g: 0.008 %
    evaluation = run("25.000 19.998", {"loss_error": "2 d"})
    assert evaluation.criteria[0].upper_limit == Fraction(8, 1000)
    assert evaluation.verdict == "pass"  # 100·5.002/25 = 20.008 %


def test_the_band_is_chosen_by_the_nominal_initial_load(run):
    bands = {"bands": {"25 g": "0.01 %", "50 g": "9 %"}}
    evaluation = run("25.001 20.0008", {"loss_error": bands})
    assert evaluation.criteria[0].upper_limit == Fraction(1, 100)


@pytest.mark.parametrize("where", ["start", "end"])
@pytest.mark.parametrize("readings", ["25.000 20.000", None], ids=["masses", "displayed"])
def test_a_reading_that_had_not_settled_is_void(run, make, displaying, where, readings):
    evaluation = run(
        readings, displayed_loss="20", instrument=displaying, **{where: {"stable": False}}
    )
    field = {"start": "/initial/stable", "end": "/final/stable"}[where]
    assert make.findings(evaluation, "unstable") == [("void", field)]
    assert (evaluation.verdict, evaluation.verdict_if_valid) == ("void", "pass")


def test_the_verdict_speaks_for_as_found_and_as_left(run):
    evaluation = run()
    said = evaluation.verdict, evaluation.verdict_as_found, evaluation.verdict_as_left
    assert said == ("pass", "pass", "pass")
    assert evaluation.usable is True


def test_buoyancy_is_not_remarked_on_as_it_cancels(make):
    weights = [make.certified("S", "20", "20", "0.0001"), make.weight("R", "5")]
    check = make.loss(make.loading("S R", "25"), make.loading("S", "20"), weights)
    assert make.findings(evaluate(check, make.terms()), "buoyancy-assumed-density") == []
