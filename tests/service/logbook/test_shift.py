"""Shifts against balances whose fault is known: reported minus true loss, by hand from readings."""

from decimal import Decimal
from fractions import Fraction
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from weighworthy_service.logbook.entries import CheckSaid, Result
from weighworthy_service.logbook.shift import faults_of, shifts


def said(check: str, *criteria: dict[str, Any], adjusted: bool = False, **results: Any):
    return CheckSaid(check, "fail", False, False, None, adjusted, True, criteria, results)


def result(loss: str | None = None, mass: str | None = None) -> Result:
    return Result(
        "R-1",
        "MA-07",
        None,  # type: ignore[arg-type]  # no matter here
        None if loss is None else Decimal(loss),
        None if mass is None else Decimal(mass),
    )


def found(said_: CheckSaid, of: Result, *, before: bool = True) -> dict[str, Any]:
    faults = faults_of(said_, before=before)
    by_fault: dict[str, Any] = {}
    for shift in shifts(said_.check, faults, of):
        by_fault.setdefault(shift.fault, shift)
    return by_fault


def simulated(
    error: float, reported: float, mass: float, u: float | None = None, basis: str = "wet"
):
    criterion = {"key": "loss_error", "name": "loss_error", "verdict": "fail", "value": error}
    return said(
        "simulated-loss",
        {**criterion, "expanded_uncertainty": u},
        loss=reported,
        expected_loss=50.0,
        initial_mass=mass,
        basis=basis,
    )


def test_a_zero_that_moves_between_the_readings() -> None:
    # Zero + 2 mg at the end. Check, 10 g of which 5 g stay: 10.000 and 5.002, 49.98 %: -0.02 %.
    # Result, 5 g of which 4.5 g stay: 5.000 and 4.502, 9.96 % for 10 %: -0.04 %.
    shift = found(simulated(-0.02, 49.98, 10.0), result("9.96", "5"))["zero-change"]
    assert shift.value == Fraction("-0.04")
    assert shift.of_result


def test_a_gain_that_changes_between_the_readings() -> None:
    # One per mille more at the end. Check: 10.000 and 5.005, 49.95 %: -0.05 %.
    # Result, 5 g of which 4.5 g stay: 5.000 and 4.5045, 9.91 % for 10 %: -0.09 %.
    shift = found(simulated(-0.05, 49.95, 10.0), result("9.91", "5"))["gain-change"]
    assert shift.value == Fraction("-0.09")


def test_an_error_in_proportion_to_the_loss() -> None:
    # Two per mille too much: 50.1 % for 50 %, and 10.02 % for 10 %.
    shift = found(simulated(0.1, 50.1, 10.0), result("10.02", "5"))["proportional"]
    assert shift.value == Fraction("0.02")


def test_a_zero_that_is_off_in_both_readings() -> None:
    # 10 mg too much. Check, 9.99 g of which 4.995 g stay: 10.000 and 5.005, 49.95 %: -0.05 %.
    # Result, 4.99 g of which 4.491 g stay: 5.000 and 4.501, 9.98 % for 10 %: -0.02 %.
    shift = found(simulated(-0.05, 49.95, 9.99), result("9.98", "5"))["common-zero"]
    assert shift.value == Fraction("-0.02")


def test_the_largest_comes_first() -> None:
    # e = -0.05: zero -0.05·10/5 = -0.1; gain -0.05·90/50.05 = -0.0899; proportional
    # -0.05·10/49.95 = -0.0100; common zero -0.05·10·10/(249.75 - 0.5) = -0.0201.
    order = list(found(simulated(-0.05, 49.95, 10.0), result("10", "5")))
    assert order == ["zero-change", "gain-change", "common-zero", "proportional"]
    # With 40 g and 80 %: zero -0.0125; gain -0.01998; proportional -0.0801; common zero
    # -0.05·10·80/(1998 - 0.5) = -0.02003.
    order = list(found(simulated(-0.05, 49.95, 10.0), result("80", "40")))
    assert order == ["proportional", "common-zero", "gain-change", "zero-change"]


def test_the_uncertainty_of_a_simulated_loss_goes_with_its_error() -> None:
    shift = found(simulated(-0.02, 49.98, 10.0, u=0.017), result("9.96", "4"))["zero-change"]
    # 0.017·10/4 = 0.0425, rounded up to two digits
    assert shift.expanded_uncertainty == Decimal("0.043")
    assert (shift.lower, shift.upper) == (Fraction("-0.093"), Fraction("-0.007"))
    assert shift.size == Fraction("0.093")


def test_a_simulated_loss_on_dry_basis_is_read_on_wet_basis() -> None:
    # Zero + 50 mg at the end: 10.000 and 5.050, on dry basis 100·4.95/5.05 % for 100 %, on wet
    # basis 49.5 % for 50 %; with 5 g the shift is -100·0.05/5 = -1.
    seen = simulated(495 / 5.05 - 100, 495 / 5.05, 10.0, u=0.04, basis="dry")
    seen = seen._replace(results={**seen.results, "expected_loss": 100.0})
    shift = found(seen, result("9", "5"))["zero-change"]
    assert float(shift.value) == pytest.approx(-1, abs=1e-12)
    # dw/dD at 100 % is 1/(1 + 1)²: 0.04·(1/4)·(10/5) = 0.02
    assert shift.expanded_uncertainty == Decimal("0.020")


def test_of_a_dry_error_without_its_loss_nothing_is_known() -> None:
    seen = simulated(-0.02, 49.98, 10.0, basis="dry")
    shift = found(seen._replace(results={"basis": "dry"}), result("9", "5"))["zero-change"]
    assert shift.value is None
    assert "does not tell the error" in shift.sentence


def test_without_an_initial_mass_at_that_of_the_check_and_it_says_so() -> None:
    shift = found(simulated(-0.02, 49.98, 10.0), result("9.96"))["zero-change"]
    assert shift.value == Fraction("-0.02")
    assert (shift.initial_mass, shift.of_result) == (10, False)
    assert "states no initial mass: computed at that of the check" in shift.sentence


def test_without_a_loss_only_the_change_of_zero_is_known() -> None:
    by_fault = found(simulated(-0.02, 49.98, 10.0), result(None, "5"))
    assert {name for name, shift in by_fault.items() if shift.value is not None} == {"zero-change"}
    assert "states no loss" in by_fault["proportional"].sentence


def test_a_short_answer_is_read_as_a_change_of_zero_at_its_nominal_load() -> None:
    short = said("simulated-loss", {"value": -0.02, "load": 10.0, "verdict": "fail"})
    by_fault = found(short, result("10", "5"))
    assert {name: shift.value for name, shift in by_fault.items()} == {
        "zero-change": Fraction("-0.04")
    }


ROUNDS = [{"index": 0, "load": 20.0}, {"index": 1, "load": 20.0}]
SPAN = {"key": "span_error[0]", "name": "span_error", "index": 0, "load": 20.0, "value": 0.02}
ZERO = {"key": "zero_return[1]", "name": "zero_return", "index": 1, "value": 0.004}


def test_a_constant_gain_cancels_exactly() -> None:
    # One per mille too much at 20 g, 20.020 g. Any result: 5.005 and 4.5045, 10 % for 10 %.
    shift = found(said("span", {**SPAN, "verdict": "fail"}), result("10", "5"))["constant-gain"]
    assert (shift.value, shift.expanded_uncertainty, shift.lower, shift.upper) == (0, 0, 0, 0)
    assert "constant gain" in shift.sentence


def test_a_constant_gain_needs_neither_mass_nor_loss_of_the_result() -> None:
    shift = found(said("span", {**SPAN, "verdict": "fail"}), result())["constant-gain"]
    assert shift.value == 0
    assert "initial mass" not in shift.sentence


def test_a_zero_return() -> None:
    # + 4 mg while the load lay: result, 4 g of which 3 g stay: 4.000 and 3.004, 24.9 % for 25 %.
    criterion = {**ZERO, "verdict": "fail", "expanded_uncertainty": 0.0017}
    shift = found(said("span", criterion, rounds=ROUNDS), result("24.9", "4"))["zero-change"]
    assert shift.value == Fraction("-0.1")
    # 100·0.0017/4 = 0.0425
    assert (shift.lower, shift.upper) == (Fraction("-0.143"), Fraction("-0.057"))
    at_own = found(said("span", criterion, rounds=ROUNDS), result("24.9"))["zero-change"]
    assert (at_own.value, at_own.initial_mass) == (Fraction("-0.02"), 20)  # -100·0.004/20


def test_errors_that_do_not_agree_may_shift_either_way() -> None:
    criterion = {"key": "span_agreement", "name": "span_agreement", "verdict": "fail", "load": 20.0}
    criterion |= {"value": 0.006, "expanded_uncertainty": 0.002}
    shift = found(said("span", criterion), result("10", "4"))["spread"]
    # 100·(0.006 + 0.002)/4
    assert (shift.value, shift.lower, shift.upper) == (0, Fraction("-0.2"), Fraction("0.2"))


def test_what_passed_in_a_failed_check_counts_for_nothing() -> None:
    seen = said("span", {**SPAN, "verdict": "fail"}, {**ZERO, "verdict": "pass"}, rounds=ROUNDS)
    assert set(found(seen, result("10", "5"))) == {"constant-gain"}


def test_where_nothing_did_worse_than_a_conditional_pass_that_counts() -> None:
    # As under a profile that lets use on a pass alone.
    seen = said("span", {**SPAN, "verdict": "pass"}, {**ZERO, "verdict": "conditional-pass"})
    assert set(found(seen, result("10", "5"))) == {"zero-change"}


def test_stages_speak_for_their_own_time_where_the_balance_was_adjusted() -> None:
    found_ = {**ZERO, "verdict": "fail", "stage": "as-found", "value": 0.004}
    left = {**ZERO, "verdict": "fail", "stage": "as-left", "key": "zero_return[2]", "value": 0.008}
    adjusted = said("span", found_, left, adjusted=True)
    assert found(adjusted, result("10", "4"))["zero-change"].value == Fraction("-0.1")
    later = found(adjusted, result("10", "4"), before=False)
    assert later["zero-change"].value == Fraction("-0.2")
    not_adjusted = found(said("span", found_, left), result("10", "4"))
    assert not_adjusted["zero-change"].value == Fraction("-0.2")  # the larger


def points(*of: tuple[float, float, float]) -> list[dict[str, Any]]:
    return [
        {"load": round(mass), "mass": mass, "error": error, "expanded_uncertainty": u}
        for mass, error, u in of
    ]


POINT = {"key": "point_error", "name": "point_error", "verdict": "fail"}
# At 10.02 g it shows 10.00, at 19.99 g 20.00, in between a straight line.
BENT = said("linearity", POINT, points=points((10.02, -0.02, 0.002), (19.99, 0.01, 0.003)))


@pytest.mark.parametrize(
    ("loss", "mass", "true"),
    [
        ("50", "20", Fraction("9.97") / Fraction("19.99") * 100),  # 10.00 g left were 10.02 g
        # 15.00 g left: midway between the points, (10.02 + 19.99)/2 = 15.005 g
        ("25", "20", Fraction("4.985") / Fraction("19.99") * 100),
        ("50", "10", Fraction(50)),  # below the first point a gain alone: 10.02 g and 5.01 g
        ("100", "20", Fraction(100)),  # nothing left: the error at zero is 0
    ],
)
def test_a_balance_that_is_not_linear(loss: str, mass: str, true: Fraction) -> None:
    shift = found(BENT, result(loss, mass))["non-linearity"]
    assert shift.value == Fraction(loss) - true


def test_the_uncertainties_of_both_points_add_up() -> None:
    shift = found(BENT, result("50", "20"))["non-linearity"]
    # 100·10.02/19.99²·0.003 + 100/19.99·0.002 = 0.0075225... + 0.0100050... = 0.0175275...
    assert shift.expanded_uncertainty == Decimal("0.018")


def test_errors_in_proportion_to_the_load_shift_nothing() -> None:
    steep = said("linearity", POINT, points=points((10, 0.01, 0.001), (50, 0.05, 0.001)))
    assert found(steep, result("16.67", "12.345"))["non-linearity"].value == 0


def test_points_of_one_load_count_with_their_mean() -> None:
    seen = said(
        "linearity", POINT, points=points((10, -0.03, 0.002), (20, 0, 0.002), (10, 0.01, 0.004))
    )
    # Mean error at 10 g -0.01: shows 9.99. Result 20.00 and 9.99: 50.05 % for 50 %.
    shift = found(seen, result("50.05", "20"))["non-linearity"]
    assert shift.value == Fraction("0.05")
    # |∂/∂e0|·0.002 + |∂/∂e1|·0.004 = 100·10/400·0.002 + 5·0.004 = 0.025
    assert shift.expanded_uncertainty == Decimal("0.025")


def test_above_the_highest_load_the_curve_says_nothing() -> None:
    shift = found(BENT, result("50", "20.001"))["non-linearity"]
    assert (shift.value, shift.lower, shift.expanded_uncertainty) == (None, None, None)
    assert "above the highest load" in shift.sentence


def test_an_answer_without_points_says_nothing() -> None:
    assert found(said("linearity", POINT), result("5", "5"))["non-linearity"].value is None


def test_hysteresis_acts_on_the_way_down() -> None:
    criterion = {"key": "hysteresis", "name": "hysteresis", "verdict": "fail", "value": 0.004}
    by_fault = found(said("linearity", criterion), result("24.9", "4"))
    # Shows 4 mg more on the way down: 4.000 and 3.004, 24.9 % for 25 %.
    assert {name: shift.value for name, shift in by_fault.items()} == {
        "hysteresis": Fraction("-0.1")
    }


def test_without_an_initial_mass_the_curve_gives_the_worst_there_is() -> None:
    curved = said(
        "linearity",
        POINT,
        points=points((5, 0.004, 0.001), (20, -0.003, 0.001), (50, 0.006, 0.001)),
    )
    worst = found(curved, result("30"))["non-linearity"]
    tried = [
        abs(found(curved, result("30", f"{mass:.3f}"))["non-linearity"].value or 0)
        for mass in np.linspace(0.05, 50.006, 600)
    ]
    assert max(tried) <= abs(worst.value)
    assert float(max(tried)) == pytest.approx(abs(float(worst.value)), rel=1e-2)
    assert not worst.of_result


def exact(low: str, high: str):
    return st.decimals(low, high, places=3)


@given(
    errors=st.lists(exact("-0.05", "0.05"), min_size=3, max_size=3),
    initial=exact("1", "50"),
    share=st.integers(1, 99),
)
def test_any_balance_of_straight_pieces(
    errors: list[Decimal], initial: Decimal, share: int
) -> None:
    masses = (Fraction(10), Fraction(20), Fraction(50))
    nodes = [(Fraction(0), Fraction(0)), *zip(masses, map(Fraction, errors), strict=True)]

    def shown(mass: Fraction) -> Fraction:
        """What the balance shows: the error is a straight line of the mass between nodes."""
        for (m0, e0), (m1, e1) in pairwise(nodes):
            if m0 <= mass <= m1:
                return mass + e0 + (mass - m0) / (m1 - m0) * (e1 - e0)
        raise AssertionError

    m0 = Fraction(initial)
    m1 = m0 * share / 100
    reported = 100 * (1 - shown(m1) / shown(m0))
    seen = said(
        "linearity",
        POINT,
        points=points(*((int(m), float(e), 0.001) for m, e in nodes[1:])),
    )
    of = result()._replace(loss=reported, initial_mass=shown(m0))  # fractions, so that it is exact
    shift = found(seen, of)["non-linearity"]
    assert shift.value == reported - (100 - share)


@pytest.mark.parametrize(
    "odd",
    [
        {"value": "much", "load": [1], "index": {}, "verdict": "fail"},
        {"value": True, "load": 10**400, "verdict": ["fail"], "stage": 3},
        {"value": float("nan"), "load": float("inf"), "verdict": "fail", "name": "zero_return"},
        {"value": 1e-300, "load": 1e-300, "verdict": "fail", "expanded_uncertainty": -1},
        {},
    ],
)
@pytest.mark.parametrize("check", ["span", "linearity", "simulated-loss"])
@pytest.mark.parametrize("name", ["zero_return", "span_error", "hysteresis", "point_error"])
def test_a_trusted_answer_may_hold_anything(check: str, name: str, odd: dict[str, Any]) -> None:
    rows = [odd, {"mass": 1, "error": -1}, {"mass": 1e-14, "error": 1e11, "load": 1}, 3]
    seen = said(check, {"name": name, **odd}, rounds=rows, points=rows, basis=[], loss=odd)
    for of in (result(), result("5"), result("5", "5"), result("250", "0.000000001")):
        for shift in found(seen, of).values():
            assert shift.sentence
