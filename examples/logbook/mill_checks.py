"""The checks of the invented mill, done on its balances: requests, and what the person saw."""

import random
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from mill_physics import Balance, Weight

# As kestrel.toml has them, in g and %. The person at the bench compares with a card on the wall.
SPAN, ZERO_RETURN, LOSS = Decimal("0.005"), Decimal("0.004"), Decimal("0.04")
POINTS = {True: Decimal("0.005"), False: Decimal("0.006")}  # to 20 g, above

# Only a simulated loss has a start window, the last of these.
VOID = ("warm-up", "unstable", "window")


@dataclass
class Bench:
    """One balance and the weights beside it; its checks return a request and an outcome.

    `spoilt` is what makes a check void, one of VOID or None. The outcome is "passed", "failed" or
    "void"; that of a span check with an adjustment is about what came after it.
    """

    balance: Balance
    instrument: dict[str, Any]
    weights: dict[str, Weight]
    chance: random.Random

    def span(
        self, spoilt: str | None = None, adjusting: bool = False
    ) -> tuple[dict[str, Any], str]:
        """At 50 g; with `adjusting` once more after an adjustment."""
        first, good = self._round("as-found", spoilt)
        rounds = [first]
        if adjusting:
            self.balance.adjust()
            second, good = self._round("as-left", spoilt)
            rounds += [{"stage": "adjustment"}, second]
        check = self._check("span", ["50"], spoilt, {"rounds": rounds})
        return check, "void" if spoilt else good

    def linearity(self, spoilt: str | None = None) -> tuple[dict[str, Any], str]:
        """At 2, 10, 20 and 50 g, upwards."""
        points, good = [], True
        for nominal in self.weights:
            shown = self.balance.reads(self.weights[nominal].true)
            points.append(
                {
                    "load": [f"H{nominal}"],
                    "zero": "0.000 g",
                    "indication": f"{shown} g",
                    "stable": True,
                }
            )
            good &= abs(shown - self._mass(nominal)) <= POINTS[int(nominal) <= 20]
        self._spoil(points[-1], spoilt)
        check = self._check("linearity", list(self.weights), spoilt, {"points": points})
        return check, _outcome(spoilt, good)

    def loss(self, heated: bool, spoilt: str | None = None) -> tuple[dict[str, Any], str]:
        """From 12 g to 10 g."""
        first, stays = ["10", "2"], ["10"]
        if spoilt == "window":
            first, stays = ["20", "2"], ["20"]  # the wrong weight from the box
        shown = self.balance.run(self._true(first), self._true(stays), heated)
        initial, final = (
            {"load": [f"H{n}" for n in load], "indication": f"{value} g", "stable": True}
            for load, value in zip((first, stays), shown, strict=True)
        )
        self._spoil(final, spoilt)
        readings = {"heating": heated, "initial": initial, "final": final}
        loss = 100 * (1 - shown[1] / shown[0])
        expected = 100 * (1 - self._mass(*stays) / self._mass(*first))
        check = self._check("simulated-loss", first, spoilt, readings)
        return check, _outcome(spoilt, abs(loss - expected) <= LOSS)

    def declared(self, used: Iterable[str]) -> dict[str, Any]:
        """The weights of these names, as a request states them."""
        return {name: self.weights[name[1:]].declared() for name in used}

    def _round(self, stage: str, spoilt: str | None) -> tuple[dict[str, Any], str]:
        shown, after = self.balance.reads(self.weights["50"].true), self.balance.zero()
        one = {
            "stage": stage,
            "load": ["H50"],
            "zero": "0.000 g",
            "indication": f"{shown} g",
            "zero_after": f"{after} g",
            "stable": True,
        }
        self._spoil(one, spoilt)
        good = abs(shown - self._mass("50")) <= SPAN and abs(after) <= ZERO_RETURN
        return one, _outcome(spoilt, good)

    def _check(
        self, kind: str, used: list[str], spoilt: str | None, readings: dict[str, Any]
    ) -> dict[str, Any]:
        warm_up = 20 if spoilt == "warm-up" else self.chance.randrange(60, 180, 15)
        return {
            "check": kind,
            "instrument": self.instrument,
            "weights": self.declared(f"H{n}" for n in used),
            "warm_up": f"{warm_up} min",
            **readings,
        }

    def _spoil(self, reading: dict[str, Any], spoilt: str | None) -> None:
        if spoilt == "unstable":
            reading["stable"] = False

    def _true(self, nominals: list[str]) -> float:
        return sum(self.weights[n].true for n in nominals)

    def _mass(self, *nominals: str) -> Decimal:
        return sum((self.weights[n].certified for n in nominals), Decimal(0)) / 1000


def _outcome(spoilt: str | None, good: bool) -> str:
    if spoilt:
        return "void"
    return "passed" if good else "failed"
