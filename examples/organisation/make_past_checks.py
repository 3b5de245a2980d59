"""Make past_checks.ndjson: a month of invented checks of an invented organisation.

    python examples/organisation/make_past_checks.py > examples/organisation/past_checks.ndjson

The same lines every time: the random numbers begin at a fixed place. Most balances are in order;
one in the valley drifts, one at the ridge shakes, and one at the harbour reads high.
"""

import json
import random
import sys
import tomllib
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path

HERE = Path(__file__).parent
FIRST_DAY, DAYS = date(2026, 3, 2), 26
# What is wrong with a balance, in mg: shift of the final reading on the first day, its growth a
# day, scatter of one reading as a multiple of the stated repeatability.
FAULTS = {"MA-07": (2.2, 0.0, 1.0), "MA-22": (0.5, 0.16, 1.0), "MA-31": (0.8, 0.0, 1.9)}
PERSONS = {"harbour": "A. Brook", "valley": "C. Field", "ridge": "D. Stone"}


def main() -> None:
    site = tomllib.loads((HERE / "site.toml").read_text("utf-8"))
    chance = random.Random(1603)  # noqa: S311 - figures of an example, no secrets
    for day in range(DAYS):
        today = FIRST_DAY + timedelta(days=day)
        if today.isoweekday() > 5:
            continue
        for number, (name, instrument) in enumerate(site["instruments"].items()):
            balance = Balance(name, instrument, day, chance)
            minute = 5 + 4 * number
            if today.isoweekday() == 1:
                write(balance.span(), name, instrument, f"{today}T06:{minute:02d}:00+01:00")
            if today == FIRST_DAY:
                write(balance.linearity(), name, instrument, f"{today}T07:{minute:02d}:00+01:00")
            write(balance.loss(), name, instrument, f"{today}T08:{minute:02d}:00+01:00")


def write(check: dict, name: str, instrument: dict, when: str) -> None:
    facts = {
        "instrument": name,
        "performed_at": when,
        "performed_by": PERSONS[instrument["site"]],
        "warm_up": "75 min",
    }
    print(json.dumps({"check": check["check"], **facts, **check}))


class Balance:
    """An invented balance on one day: asked for readings, it answers with its faults."""

    def __init__(self, name: str, instrument: dict, day: int, chance: random.Random) -> None:
        self.initial = instrument["site"][0].upper()
        self.step = Decimal(instrument["scale_interval"].removesuffix(" mg")) / 1000
        repeatability = float(instrument["repeatability"].removesuffix(" mg"))
        shift, growth, scatter = FAULTS.get(name, (0.0, 0.0, 1.0))
        self.shift = shift + growth * day
        self.scatter = repeatability * scatter
        self.chance = chance
        self.fine = self.step < Decimal("0.001")

    def reading(self, nominal: str, shift: float = 0.0) -> str:
        # Twelve uniform numbers make a normal one with nothing but additions, so that every
        # computer writes the same file.
        normal = sum(self.chance.random() for _ in range(12)) - 6
        off = Decimal(f"{self.scatter * normal + shift:.6f}") / 1000
        steps = ((Decimal(nominal) + off) / self.step).to_integral_value()
        return f"{int(steps) * self.step} g"

    def tared(self) -> str:
        return f"{0 * self.step} g"

    def load(self, *nominals: str) -> list[str]:
        return [self.initial + nominal for nominal in nominals]

    def span(self) -> dict:
        largest = "20" if self.fine else "50"
        one = {
            "load": self.load(largest),
            "zero": self.tared(),
            "indication": self.reading(largest),
            "zero_after": self.chance.choice([self.tared(), f"{self.step} g"]),
        }
        return {"check": "span", "rounds": [one]}

    def linearity(self) -> dict:
        points = [
            {
                "load": self.load(*loads),
                "zero": self.tared(),
                "indication": self.reading(total),
            }
            for loads, total in (
                (("2",), "2"),
                (("10",), "10"),
                (("20",), "20"),
                (("20", "10"), "30"),
            )
        ]
        return {"check": "linearity", "points": points}

    def loss(self) -> dict:
        initial = {"load": self.load("10", "2"), "indication": self.reading("12")}
        final = {"load": self.load("10"), "indication": self.reading("10", self.shift)}
        return {"check": "simulated-loss", "heating": False, "initial": initial, "final": final}


if __name__ == "__main__":
    sys.stdout.reconfigure(encoding="utf-8", newline="\n")
    main()
