"""The plan of a year of the invented mill: calendar, people, products, weights, what goes wrong."""

import random
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from mill_physics import Weight, weight_set

PEOPLE = ("A. Brook", "C. Field", "K. Strand")
METHODS = {  # invented products: usual loss and its scatter, limits, all in %, and the mass in g
    "flour": (14.2, 0.25, "13.0", "15.0", 5.0),
    "bran": (12.4, 0.35, "11.0", "13.5", 3.0),
    "malt": (4.6, 0.12, "4.2", "5.0", 10.0),
}


@dataclass(frozen=True)
class Plan:
    """What goes on in a simulated year. Rates are per balance and year, chances per check.

    `new_weights`: the day on which all change to a new set, whose 50 g weighs `new_weights_error`
    mg more than certified (the others in proportion). `copier`: who writes down the figures of the
    day before, on how many of his checks, from which day on. `drift`, `wander`: of the gain, in
    parts of one, per day and per root of a day. Losses of `void_balance` are void more often.
    """

    balances: int = 4
    first_day: date = date(2025, 3, 31)
    days: int = 365
    closed: tuple[tuple[date, date], ...] = (
        (date(2025, 4, 18), date(2025, 4, 21)),
        (date(2025, 8, 4), date(2025, 8, 15)),
        (date(2025, 12, 24), date(2026, 1, 1)),
    )
    time_zone: str = "Europe/Berlin"
    scatter: float = 0.7
    drift: float = 4e-7
    wander: float = 2e-6
    hot_zero: float = 0.8
    knocks: float = 1.5
    knock_size: float = 1.2e-4
    knock_sticks: float = 0.4
    moves: float = 1.0
    power_offs: float = 3.0
    adjustments: float = 2.0
    new_weights: date | None = date(2025, 10, 6)
    new_weights_error: float = 2.0
    copier: str | None = "K. Strand"
    copies_from: date = date(2025, 11, 3)
    copies: float = 0.8
    void: float = 0.012
    void_balance: str | None = "MA-42"
    void_there: float = 0.08
    results_a_day: float = 4.0
    assessed: float = 0.7

    def works_on(self, day: date) -> bool:
        """Monday to Friday, but for what is closed."""
        return day.isoweekday() < 6 and not any(a <= day <= b for a, b in self.closed)

    @property
    def working_days(self) -> Iterator[date]:
        """In order."""
        days = (self.first_day + timedelta(n) for n in range(self.days))
        return (day for day in days if self.works_on(day))


def names(plan: Plan) -> list[str]:
    """Ids of the balances."""
    return [f"MA-{41 + n}" for n in range(plan.balances)]


def weight_sets(plan: Plan, seed: int) -> tuple[dict[str, Weight], dict[str, Weight]]:
    """The set that all balances share, and the one that follows it."""
    chance = random.Random(f"{seed}/weights")  # noqa: S311 - figures of an example, no secrets
    first = weight_set(chance, 24, "2025-10-31")
    return first, weight_set(chance, 25, "2026-04-20", plan.new_weights_error)


def instrument(name: str, plan: Plan) -> dict[str, Any]:
    """As a check request describes it."""
    return {
        "id": name,
        "site": "upper mill",
        "model": "bench dryer 60 (invented)",
        "capacity": "60 g",
        "scale_interval": "1 mg",
        "loss_interval": "0.01 %",
        "repeatability": f"{plan.scatter} mg",
        "repeatability_observations": 10,
        "hot_zero_drift": "2 mg",
    }


def calendar(plan: Plan) -> dict[str, Any]:
    """The working calendar, in the form a logbook is sent it."""
    return {
        "time_zone": plan.time_zone,
        "shifts": [
            {"days": ["mon", "tue", "wed", "thu", "fri"], "from": "06:00", "to": "14:00"},
            {"days": ["mon", "tue", "wed", "thu", "fri"], "from": "14:00", "to": "22:00"},
        ],
        "closed": [{"from": str(first), "to": str(last)} for first, last in plan.closed],
    }
