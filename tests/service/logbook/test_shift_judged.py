"""Shifts from checks that were judged from readings of a balance whose fault is known.

The balance shows whole milligrams. What it reports of a sample less what the sample lost is the
shift that the failed check must have told, to within the rounding of the readings.
"""

from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest

from weighworthy_service.logbook.entries import CheckSaid, Result
from weighworthy_service.logbook.reading import EntryReader
from weighworthy_service.logbook.shift import Shift, faults_of, shifts
from weighworthy_service.profiles.finding import built_in, find_profile
from weighworthy_service.profiles.judging import judge

AT = "2026-03-02T07:10:00+01:00"
WEIGHTS = {
    name: {"nominal": f"{name[1:]} g", "weight_class": "OIML F1"}
    for name in ("K2", "K5", "K10", "K20", "K50")
}
LIMITS: dict[str, Any] = {
    "id": "kestrel-strict",
    "revision": "1",
    "rules": [
        {"checks": ["span"], "limits": {"span_error": {"within": "2 mg"}}},
        {"checks": ["span"], "limits": {"zero_return": {"within": "2 mg"}}},
        {"checks": ["linearity"], "limits": {"point_error": {"within": "2 mg"}}},
        {"checks": ["simulated-loss"], "limits": {"loss_error": {"within": "0.03 %"}}},
    ],
}


class Balance:
    """Shows a mass in g as a text; the fault acts on the mass and, at the end of a run, besides."""

    def __init__(
        self,
        error: Callable[[float], float] = lambda _: 0.0,
        at_end: Callable[[float], float] = lambda _: 0.0,
    ) -> None:
        self.error, self.at_end = error, at_end

    def shows(self, mass: float, *, end: bool = False) -> float:
        return round(mass + self.error(mass) + (self.at_end(mass) if end else 0), 3)

    def run(self, initial: float, final: float) -> tuple[Result, float]:
        """A result as reported, and how much it differs from the truth, in % points."""
        first, last = self.shows(initial), self.shows(final, end=True)
        reported = 100 * (first - last) / first
        loss, mass = Decimal(f"{reported:.9f}"), Decimal(f"{first:.3f}")
        sample = Result("R", "MA-07", None, loss, mass)  # type: ignore[arg-type]
        return sample, reported - 100 * (initial - final) / initial


def judged(check: str, **asked: Any) -> CheckSaid:
    request = {
        "check": check,
        "instrument": {
            "id": "MA-07",
            "capacity": "60 g",
            "scale_interval": "1 mg",
            "repeatability": "0.4 mg",
            "repeatability_observations": 10,
        },
        "weights": WEIGHTS,
        "performed_at": AT,
        "performed_by": "A. Brook",
        "warm_up": "90 min",
        "profile": LIMITS,
        **asked,
    }
    reader = EntryReader(
        lambda kind, document: judge(
            kind, document, lambda asked_for, on: find_profile(asked_for, built_in(), on)
        ),
        ("pass", "conditional-pass"),
    )
    said = reader.read({"id": "C", "kind": "check", "request": request}).said
    assert said is not None
    assert said.lets_use_as_found is False, said
    return said


def found(said: CheckSaid, sample: Result) -> dict[str, Shift]:
    faults = faults_of(said, before=True)
    return {shift.fault: shift for shift in reversed(shifts("C", faults, sample))}


def simulated_loss(balance: Balance) -> CheckSaid:
    return judged(
        "simulated-loss",
        heating=False,
        initial={"load": ["K10", "K2"], "indication": f"{balance.shows(12):.3f} g"},
        final={"load": ["K10"], "indication": f"{balance.shows(10, end=True):.3f} g"},
    )


def linearity(balance: Balance) -> CheckSaid:
    loads = {2: "K2", 5: "K5", 10: "K10", 20: "K20", 50: "K50"}
    points = [
        {"load": [name], "zero": "0.000 g", "indication": f"{balance.shows(mass):.3f} g"}
        for mass, name in loads.items()
    ]
    return judged("linearity", points=points)


# Each reading is rounded by up to 0.5 mg: of the check scaled to the result, and of the result.
ROUNDING = 100 * 0.0005 * (1 / 12 + 1 / 10) * 12 / 5 + 100 * 0.0005 * 2 / 5


@pytest.mark.parametrize(
    ("fault", "balance"),
    [
        ("zero-change", Balance(at_end=lambda _: 0.012)),
        ("zero-change", Balance(at_end=lambda _: -0.012)),
        ("gain-change", Balance(at_end=lambda mass: 0.001 * mass)),
        ("common-zero", Balance(error=lambda _: 0.05)),
    ],
)
def test_a_simulated_loss_tells_what_each_fault_did(fault: str, balance: Balance) -> None:
    sample, differs = balance.run(5, 4.2)
    told(simulated_loss(balance), fault, sample, differs)


def test_and_what_an_error_in_proportion_to_the_loss_did() -> None:
    # Four per mille too much of what is lost: 2 g in the check, 1.2 g of the sample.
    said = simulated_loss(Balance(at_end=lambda _: -0.004 * 2))
    sample, differs = Balance(at_end=lambda _: -0.004 * 1.2).run(9, 7.8)
    told(said, "proportional", sample, differs)


def told(said: CheckSaid, fault: str, sample: Result, differs: float) -> None:
    shift = found(said, sample)[fault]
    assert shift.value is not None
    assert shift.lower is not None
    assert shift.upper is not None
    assert abs(differs) > ROUNDING
    assert float(shift.value) == pytest.approx(differs, abs=ROUNDING)
    assert float(shift.lower) - ROUNDING <= differs <= float(shift.upper) + ROUNDING


def test_the_largest_of_its_shifts_is_not_below_any_of_these_faults() -> None:
    for balance in (
        Balance(at_end=lambda _: 0.012),
        Balance(at_end=lambda mass: 0.001 * mass),
        Balance(error=lambda _: 0.05),
    ):
        sample, differs = balance.run(5, 4.2)
        largest, *_ = shifts("C", faults_of(simulated_loss(balance), before=True), sample)
        assert float(largest.size) >= abs(differs) - ROUNDING


def test_a_span_error_of_a_constant_gain_did_nothing() -> None:
    balance = Balance(error=lambda mass: 0.0005 * mass)
    said = judged(
        "span",
        rounds=[
            {
                "stage": "as-found",
                "load": ["K50"],
                "zero": "0.000 g",
                "indication": f"{balance.shows(50):.3f} g",
                "zero_after": "0.000 g",
            }
        ],
    )
    sample, differs = balance.run(20, 16)
    by_fault = found(said, sample)
    assert {fault: shift.value for fault, shift in by_fault.items()} == {"constant-gain": 0}
    assert differs == pytest.approx(0, abs=100 * 0.0005 * 2 / 20)


def test_a_zero_that_does_not_return_did_what_it_did() -> None:
    balance = Balance(at_end=lambda _: 0.006)
    said = judged(
        "span",
        rounds=[
            {
                "stage": "as-found",
                "load": ["K20"],
                "zero": "0.000 g",
                "indication": "20.001 g",
                "zero_after": f"{balance.shows(0, end=True):.3f} g",
            }
        ],
    )
    sample, differs = balance.run(5, 4.2)
    shift = found(said, sample)["zero-change"]
    assert float(shift.value or 0) == pytest.approx(-100 * 0.006 / 5, abs=1e-12)
    assert differs == pytest.approx(-100 * 0.006 / 5, abs=100 * 0.0005 * 2 / 5)


@pytest.mark.parametrize(("initial", "final"), [(20, 10), (20, 5), (50, 20), (10, 2), (50, 2)])
def test_a_linearity_check_tells_what_the_curve_did(initial: float, final: float) -> None:
    # A bow of 60 mg at half load, far more than any balance has: it shows so little in a loss.
    balance = Balance(error=lambda mass: 0.06 * 4 * (mass / 60) * (1 - mass / 60))
    sample, differs = balance.run(initial, final)
    shift = found(linearity(balance), sample)["non-linearity"]
    assert shift.value is not None
    # At loads of the check nothing lies between: reported and told rest on the same readings.
    assert float(shift.value) == pytest.approx(differs, abs=1e-8)
    assert abs(differs) > 0.01


def test_between_the_loads_of_the_check_the_curve_is_near() -> None:
    balance = Balance(error=lambda mass: 0.012 * 4 * (mass / 60) * (1 - mass / 60))
    sample, differs = balance.run(14, 7)
    shift = found(linearity(balance), sample)["non-linearity"]
    assert shift.lower is not None
    assert shift.upper is not None
    assert float(shift.lower) <= differs <= float(shift.upper)
