"""Balances and weights of an invented mill, as physics: what they are, not what they show.

Masses in mg, gain as parts of one, times in days.
"""

import random
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

CAPACITY = 60_000.0


@dataclass
class Weight:
    """A reference weight: what it weighs, and what its certificate says of it."""

    name: str
    nominal: str
    true: float
    certified: Decimal
    expanded_uncertainty: str
    certificate: str
    due_on: str

    def declared(self) -> dict[str, Any]:
        """As a check request states it."""
        return {
            "nominal": f"{self.nominal} g",
            "weight_class": "OIML F1",
            "conventional_mass": f"{self.certified / 1000} g",
            "expanded_uncertainty": self.expanded_uncertainty,
            "coverage_factor": "2",
            "certificate": self.certificate,
            "due_on": self.due_on,
        }


# Expanded uncertainty of a certificate, in mg, by nominal value in g: a third of class F1.
UNCERTAINTIES = {"2": "0.04", "10": "0.06", "20": "0.08", "50": "0.10"}


def weight_set(
    chance: random.Random, number: int, due_on: str, error: float = 0.0
) -> dict[str, Weight]:
    """Four weights; `error`: what they weigh beside their certificates, in mg for 50 g."""
    found = {}
    for nominal, uncertainty in UNCERTAINTIES.items():
        value = 1000 * float(nominal)
        true = value + chance.gauss(0, float(uncertainty) / 2)
        certified = Decimal(f"{true + chance.gauss(0, float(uncertainty) / 2):.2f}")
        found[nominal] = Weight(
            f"H{nominal}",
            nominal,
            true + error * float(nominal) / 50,
            certified,
            f"{uncertainty} mg",
            f"KMF {number}/{nominal}",
            due_on,
        )
    return found


@dataclass
class Balance:
    """A balance in its chamber. `gain`, `bow` and `sticking` change with what happens to it.

    `bow`: departure from linearity at mid-range; `sticking`: what a run leaves behind of its zero;
    `hot_zero`: how far heat moves the zero during a run; all in mg. `drift`: of the gain, per day.
    """

    name: str
    chance: random.Random
    step: Decimal = Decimal(1)
    scatter: float = 0.7
    gain: float = 0.0
    bow: float = 0.0
    sticking: float = 0.0
    drift: float = 0.0
    wander: float = 0.0
    hot_zero: float = 0.0
    hot_zero_scatter: float = 0.3
    now: float = field(default=0.0)

    def wait_until(self, day: float) -> None:
        """Time passes: the gain drifts, and wanders as a random walk does."""
        passed = day - self.now
        self.gain += self.drift * passed + self.chance.gauss(0, self.wander * passed**0.5)
        self.now = day

    def knock(self, size: float, sticks: float = 0.0) -> dict[str, float]:
        """Something hits it; `size`: standard deviation of what that does to the gain.

        `sticks`: the chance that something touches the pan from then on.
        """
        gain, bow, stick = (self.chance.gauss(0, 1) for _ in range(3))
        self.gain += size * gain
        self.bow += 1.0 * bow
        self.sticking += 4.0 * stick if self.chance.random() < sticks else 0.0
        return {"gain": self.gain, "bow": self.bow, "sticking": self.sticking}

    def adjust(self) -> None:
        """Its gain is set by a built-in weight; nothing else becomes better."""
        self.gain = self.chance.gauss(0, 8e-6)

    def service(self) -> None:
        """Cleaned, set level and adjusted."""
        self.adjust()
        self.bow = self.chance.gauss(0, 0.5)
        self.sticking = 0.0

    def reads(self, load: float, beside: float = 0.0) -> Decimal:
        """What it shows of a true load, in g, to its scale interval; `beside`: a zero gone off."""
        part = load / CAPACITY
        shown = load * (1 + self.gain) + 4 * self.bow * part * (1 - part) + beside
        steps = round((shown + self.chance.gauss(0, self.scatter)) / float(self.step))
        return steps * self.step / 1000

    def zero(self) -> Decimal:
        """What it shows of nothing, after a load."""
        return round(self.chance.gauss(0, 0.4 * self.scatter)) * self.step / 1000

    def run(self, start: float, end: float, heated: bool) -> tuple[Decimal, Decimal]:
        """What it shows of true loads before and after a run, which moves the zero."""
        heat = self.chance.gauss(self.hot_zero, self.hot_zero_scatter) if heated else 0.0
        return self.reads(start), self.reads(end, heat + self.sticking)
