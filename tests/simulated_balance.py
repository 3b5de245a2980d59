"""A balance as physics has it, with faults that somebody puts in; shares no code with the service.

All masses are floats in g, times in s. The balance shows

    round to d of  (1 + gain + gain_rate·t)·m + bow(m) + turn(m) + zero(t) + off-centre·m + noise

with m the sum of the *true* masses on the pan. Weights have a stated mass and a true one, dirt
included. A balance sums up what has happened to it: every loading may shift the zero, heat moves
it, and after a heavier load a lighter one reads high.
"""

import math
import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any


@dataclass
class Weights:
    """Stated masses in g and what is wrong with each: true minus stated, in g."""

    stated: Mapping[str, float]
    wrong: dict[str, float] = field(default_factory=dict)

    def true(self, names: Sequence[str]) -> float:
        return sum(self.stated[name] + self.wrong.get(name, 0.0) for name in names)


@dataclass
class Balance:
    """A balance of `capacity` g that shows steps of `step` g.

    `bow`: error at half the capacity of a curve that is right at zero and capacity; `turn`: largest
    amount in g by which a load reads higher after one of capacity; `zero_step`: shift of the zero
    with every loading and unloading; `creep`: of the zero in g/s; `jump`: once, by so much, at the
    time `jump_at`; `hot_drift`: of the zero in g at a chamber that is hot; `off_centre`: relative
    error at the edge of the pan; `noise`: standard deviation of a reading in g; `tared_off`: what
    a tare for a run left wrong.
    """

    weights: Weights
    random: random.Random
    capacity: float = 60.0
    step: float = 0.001
    noise: float = 0.0005
    gain: float = 0.0
    gain_rate: float = 0.0
    bow: float = 0.0
    turn: float = 0.0
    zero_step: float = 0.0
    creep: float = 0.0
    jump: float = 0.0
    jump_at: float = math.inf
    hot_drift: float = 0.0
    off_centre: float = 0.0
    tared_off: float = 0.0
    time: float = 0.0
    heat: float = 0.0
    _zero: float = 0.0
    _on: tuple[str, ...] = ()
    _heaviest: float = 0.0

    def put(self, *names: str, seconds: float = 15.0, at: float | None = None) -> None:
        """Have just these weights on the pan. One that is there already is not touched.

        `at`: where on the pan, from the centre, 0, to the edge, -1 or 1; None: somewhere.
        """
        if names != self._on:
            self._zero += self.zero_step
            if not set(names) < set(self._on) or not names:
                self._placing = self.random.uniform(-1, 1) if at is None else at
        self._on = names
        self._heaviest = max(self._heaviest, self.weights.true(names)) if names else 0.0
        self.wait(seconds)

    _placing: float = 0.0

    def wait(self, seconds: float) -> None:
        """Let time pass."""
        if self.time < self.jump_at <= self.time + seconds:
            self._zero += self.jump
        self.time += seconds
        self._zero += self.creep * seconds

    def warm(self, share: float) -> None:
        """Have the chamber at a share of its heat."""
        self.heat = share

    def shown(self) -> float:
        """The display, in g."""
        m = self.weights.true(self._on)
        part = m / self.capacity
        value = (1 + self.gain + self.gain_rate * self.time) * m
        value += 4 * self.bow * part * (1 - part)
        if self._heaviest > m > 0:
            lighter = m / self._heaviest
            value += 4 * self.turn * (self._heaviest / self.capacity) * lighter * (1 - lighter)
        value += self._zero + self.hot_drift * self.heat
        value += self.off_centre * self._placing * m
        if m:
            value += self.random.gauss(0, self.noise)
        return round(value / self.step) * self.step

    def read(self) -> str:
        """The display as somebody notes it down."""
        return f"{self.shown():.3f} g"


def span(balance: Balance, load: Sequence[str], rounds: int = 2) -> dict[str, Any]:
    """Zero, load, zero again."""
    found = []
    for _ in range(rounds):
        balance.put()
        zero = balance.read()
        balance.put(*load)
        indication = balance.read()
        balance.put()
        after = balance.read()
        one = {"load": list(load), "zero": zero, "indication": indication, "zero_after": after}
        found.append(one)
    return {"check": "span", "rounds": found}


def linearity(balance: Balance, loads: Sequence[Sequence[str]]) -> dict[str, Any]:
    """Up without unloading between the loads, and down again, a zero at the beginning and end."""
    balance.put()
    zero, points = balance.read(), []
    up = list(loads)
    for direction, part in (("up", up), ("down", up[-2::-1])):
        for load in part:
            balance.put(*load)
            points.append(
                {"load": list(load), "indication": balance.read(), "direction": direction}
            )
    points[0]["zero"] = zero
    balance.put()
    return {"check": "linearity", "points": points}


def separate_points(balance: Balance, loads: Sequence[Sequence[str]]) -> dict[str, Any]:
    """Each load by itself, with its own zero."""
    points = []
    for load in loads:
        balance.put()
        zero = balance.read()
        balance.put(*load)
        points.append({"load": list(load), "zero": zero, "indication": balance.read()})
    balance.put()
    return {"check": "linearity", "points": points}


def simulated_loss(
    balance: Balance,
    initial: Sequence[str],
    final: Sequence[str],
    *,
    heating: bool = False,
    seconds: float = 300.0,
) -> dict[str, Any]:
    """The load on the tared pan, a run, and part of it lifted off."""
    balance.put()
    tare = balance.shown() - balance.tared_off
    balance.put(*initial)
    start = balance.shown() - tare
    balance.wait(seconds)
    balance.warm(1.0 if heating else 0.0)
    balance.put(*final)
    end = balance.shown() - tare
    balance.warm(0.0)
    balance.put()
    return {
        "check": "simulated-loss",
        "heating": heating,
        "initial": {"load": list(initial), "indication": f"{start:.3f} g"},
        "final": {"load": list(final), "indication": f"{end:.3f} g"},
    }


def blank_runs(balance: Balance, runs: int = 4, seconds: float = 300.0) -> dict[str, Any]:
    """An empty pan through so many hot runs."""
    found = []
    for _ in range(runs):
        balance.put()
        initial = balance.read()
        balance.wait(seconds)
        balance.warm(1.0)
        final = balance.read()
        balance.warm(0.0)
        found.append({"initial": initial, "final": final, "chamber_temperature": "105 Cel"})
    return {"check": "blank-run", "pan": "empty", "sample_mass": "12 g", "runs": found}


def eccentricity(balance: Balance, load: Sequence[str]) -> dict[str, Any]:
    """One load at the centre and at four places at the edge."""
    placings = []
    for position, at in (("centre", 0), ("front", 1), ("left", 0.5), ("back", -1), ("right", -0.5)):
        balance.put()
        zero = balance.read()
        balance.put(*load, at=at)
        placings.append({"position": position, "zero": zero, "indication": balance.read()})
    balance.put()
    return {"check": "eccentricity", "load": list(load), "placings": placings}


def repeatability(balance: Balance, load: Sequence[str], times: int = 10) -> dict[str, Any]:
    """The same load again and again, each against its own zero."""
    placings = []
    for _ in range(times):
        balance.put()
        zero = balance.read()
        balance.put(*load)
        placings.append({"zero": zero, "indication": balance.read()})
    balance.put()
    return {"check": "repeatability", "load": list(load), "placings": placings}
