"""The uncertainty budget of a simulated loss: S = 20 g stays, R = 5 g is lifted off."""

from decimal import Decimal
from fractions import Fraction
from math import inf, sqrt

import pytest

from weighworthy_service.metrology.instrument import Eccentricity, HotZeroCorrection

C0, C1, COMMON = 100 * 20 / 25**2, -100 / 25, -20 / 25  # 3.2, -4 and -0.8 % per g
DIGIT = 0.001 / sqrt(12)


def budget(evaluation):
    return {row.source: row.contribution for row in evaluation.criteria[0].budget}


WEIGHTS = {
    "reference weights R": 0.00016 * 3.2 / sqrt(3),
    "reference weights S": 0.00025 * 0.8 / sqrt(3),
}
READINGS = {
    "digitisation of loaded readings": DIGIT * sqrt(C0**2 + C1**2),
    "digitisation of zero readings": DIGIT * abs(COMMON),
}


def near(rows):
    return {name: pytest.approx(u, rel=1e-12) for name, u in rows.items()}


def test_the_budget_from_masses(run):
    # One zero for both readings; buoyancy of constant air cancels and has no row.
    evaluation = run()
    assert budget(evaluation) == near({**READINGS, **WEIGHTS})
    assert evaluation.criteria[0].degrees_of_freedom == inf


def test_the_budget_on_dry_basis(run):
    # 100/I1 = 5, -100·I0/I1² = -6.25, common -L/I1 = -1.25; 100/S = 5, 100·R/S² = 1.25
    assert budget(run(basis="dry")) == near(
        {
            "digitisation of loaded readings": DIGIT * sqrt(5**2 + 6.25**2),
            "digitisation of zero readings": DIGIT * 1.25,
            "reference weights R": 0.00016 * 5 / sqrt(3),
            "reference weights S": 0.00025 * 1.25 / sqrt(3),
        }
    )


@pytest.mark.parametrize(("rounding", "step"), [("nearest", 0.01), ("down", 0.02)])
def test_the_budget_from_the_displayed_loss(run, make, rounding, step):
    # "down" makes the rounding a full interval to one side: half-width 0.01 instead of 0.005.
    balance = make.balance(loss_interval="0.01", loss_rounding=rounding)
    evaluation = run(None, displayed_loss="20.00", instrument=balance)
    display = {"digitisation of the displayed loss": step / sqrt(12)}
    assert budget(evaluation) == near({**READINGS, **display, **WEIGHTS})


def test_repeatability_of_both_readings_enters_once(run, make):
    balance = make.balance(repeatability="0.0008", repeatability_observations=10)
    evaluation = run(instrument=balance)
    rep = 0.0008 * sqrt(C0**2 + C1**2)
    assert budget(evaluation)["repeatability"] == pytest.approx(rep)
    u4 = evaluation.criteria[0].standard_uncertainty ** 4
    assert evaluation.criteria[0].degrees_of_freedom == pytest.approx(u4 / (rep**4 / 9))


def test_weights_may_be_taken_as_correlated_in_any_case(run):
    (found,) = (
        row.contribution
        for row in run(weights_correlation="worst").criteria[0].budget
        if row.source.startswith("reference weights")
    )
    assert found == pytest.approx(sum(WEIGHTS.values()), rel=1e-12)


def test_only_the_built_up_load_lies_off_the_centre(run, make):
    balance = make.balance(eccentricity=Eccentricity(Decimal("0.002"), Decimal(50)))
    # The initial load of 25 g has two weights: 0.002/(2·50·√3) · 25 g · 3.2 %/g
    found = budget(run(instrument=balance))["built-up loads"]
    assert found == pytest.approx(0.002 / (100 * sqrt(3)) * 25 * 3.2)


@pytest.mark.parametrize(("heating", "present"), [(True, True), (None, True), (False, False)])
def test_hot_zero_drift_bounds_the_change_of_zero(run, hot, heating, present):
    found = budget(run(heating=heating, instrument=hot(drift="0.003")))
    expected = 0.003 / sqrt(3) * abs(C1) if present else None
    assert found.get("hot zero drift") == (expected and pytest.approx(expected, rel=1e-12))


def test_a_known_shift_is_a_correction_and_never_hidden_in_u(run, hot):
    # The zero ends 10 mg high: the final reading of 20.010 g was 20.000 g.
    balance = hot(shift="0.010", u="0.002")
    evaluation = run("25.000 20.010", heating=True, instrument=balance)
    assert evaluation.criteria[0].value == 0
    assert evaluation.results["loss"] == 20
    assert evaluation.results["loss_from_masses"] == Fraction("19.96")
    assert evaluation.results["hot_zero_correction"] == Fraction("0.04")
    assert budget(evaluation)["hot zero correction"] == pytest.approx(0.002 * 4)


def test_a_shift_does_not_count_in_a_cold_run(run, hot):
    balance = hot(shift="0.010", u="0.002")
    evaluation = run("25.000 20.010", heating=False, instrument=balance)
    assert evaluation.results["loss"] == Fraction("19.96")
    assert "hot zero correction" not in budget(evaluation)


def test_a_shift_corrects_the_displayed_loss_too(run, make):
    correction = HotZeroCorrection(Decimal("0.010"), Decimal("0.002"))
    balance = make.balance(loss_interval="0.01", hot_zero_correction=correction)
    evaluation = run(None, displayed_loss="19.96", heating=True, instrument=balance)
    # + 0.010 g · 4 %/g
    assert evaluation.results["loss"] == 20
    assert budget(evaluation)["hot zero correction"] == pytest.approx(0.002 * 4)
