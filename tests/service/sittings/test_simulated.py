"""Causes held against a simulated balance, which shares no code with the service.

Of each fault: the value that it makes fail names it, with a size that covers the one put in, and
no value that is in order rules it out. All intervals are of 95.45 % coverage, and two that exclude
each other are farther apart than either alone; so one in twenty may miss. The seeds are always the
same.
"""

import importlib.util
import random
import sys
from collections import Counter
from collections.abc import Callable
from copy import deepcopy
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from weighworthy_service.profiles.finding import built_in, find_profile
from weighworthy_service.sittings.evidence import Evidence, evidence
from weighworthy_service.sittings.judged import judge_all
from weighworthy_service.sittings.sights import Sights

SEEDS = 4
WEIGHTS = ("A2", "A10", "A20", "A50")
STATED = {"A2": 2.0, "A10": 10.00006, "A20": 20.0, "A50": 49.99995}
# How far the true masses may be from what is stated: class F1 and the certificates, in g.
MAY_BE_OFF = {"A2": 0.00012, "A10": 0.00003, "A20": 0.00025, "A50": 0.00005}
LOADS = (["A2"], ["A10"], ["A20"], ["A20", "A10"], ["A50"])


@pytest.fixture(scope="session")
def physics() -> ModuleType:
    path = Path(__file__).parents[2] / "simulated_balance.py"
    spec = importlib.util.spec_from_file_location("simulated_balance", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["simulated_balance"] = module
    spec.loader.exec_module(module)
    return module


def judging(kestrel: dict[str, Any], physics: ModuleType) -> Callable[..., Evidence]:
    """The evidence of a span, a linearity run and a simulated loss on a balance with faults."""
    base = deepcopy(kestrel)
    base["instrument"] |= {"repeatability": "0.5 mg", "repeatability_observations": 20}
    del base["instrument"]["eccentricity"]

    def made(
        seed: int,
        *,
        heating: bool = False,
        separate: bool = False,
        blank: bool = False,
        placed: bool = False,
        pan: bool = False,
        **faults: Any,
    ) -> Evidence:
        chance = random.Random(seed)  # noqa: S311  not for secrets
        wrong = {name: chance.uniform(-most, most) for name, most in MAY_BE_OFF.items()}
        for name, dirt in faults.pop("dirt", {}).items():
            wrong[name] += dirt
        jump = faults.pop("jump_in_loss", 0.0)
        weights = physics.Weights(STATED, wrong)
        balance = physics.Balance(weights, chance, **faults)
        run = physics.separate_points if separate else physics.linearity
        checks = [physics.span(balance, ["A50"]), run(balance, LOADS)]
        checks += [physics.blank_runs(balance)] if blank else []
        checks += [physics.repeatability(balance, ["A20"])] if placed else []
        checks += [physics.eccentricity(balance, ["A20"])] if pan else []
        balance.jump, balance.jump_at = jump, balance.time + 100
        loss = physics.simulated_loss(balance, ["A10", "A2"], ["A10"], heating=heating)
        found = judge_all(
            {**base, "checks": [*checks, loss]}, lambda name, _: find_profile(name, built_in())
        )
        return evidence(found, Sights(found))

    return made


@pytest.fixture(scope="session")
def judged(kestrel: dict[str, Any], physics: ModuleType) -> Callable[..., Evidence]:
    return judging(kestrel, physics)


# Fault put in; cause, weight and size that should be named; checks whose failures are its doing.
FAULTS = {
    "gain": ({"gain": 2.4e-4}, ("gain", None, 2.4e-4), None),
    "weight off on the pan": ({"dirt": {"A50": 0.012}}, ("weight", "A50", 0.012), None),
    "weight lifted off": ({"dirt": {"A2": -0.012}}, ("weight", "A2", -0.012), None),
    "weight that stays": ({"dirt": {"A10": 0.04}}, ("weight", "A10", 0.04), None),
    "zero with every loading": ({"zero_step": 0.006}, ("zero-change", None, 0.006), None),
    "the same, zeros read": (
        {"zero_step": 0.006, "separate": True},
        ("zero-change", None, 0.006),
        None,
    ),
    "knock in the run": ({"jump_in_loss": 0.01}, ("zero-drift", None, 0.01), 2),
    # 315 s between the readings of the loss.
    "creep": ({"creep": 3e-5}, ("zero-drift", None, 315 * 3e-5), 2),
    "heat": ({"hot_drift": 0.01, "heating": True}, ("hot-zero-drift", None, 0.01), 2),
    "heat, with blank runs": (
        {"hot_drift": 0.01, "heating": True, "blank": True},
        ("hot-zero-drift", None, 0.01),
        3,
    ),
    "tare": ({"tared_off": 0.05}, ("common-zero", None, 0.05), 2),
    # The balance shows more by 3e-6 of the load each second: 315 s, on the way to the second one.
    "gain that changes": ({"gain_rate": 3e-6}, ("gain-change", None, 315 * 3e-6), 2),
    "bow": ({"bow": 0.015}, ("curvature", None, 0.015), None),
    "hysteresis": ({"turn": 0.015}, ("hysteresis", None, None), 1),
    "off centre": ({"off_centre": 4e-4}, ("off-centre", None, 4e-4), None),
    "off centre, tried": (
        {"off_centre": 4e-4, "pan": True},
        ("off-centre", None, 4e-4),
        None,
    ),
    "scatter, with placings": (
        {"noise": 0.008, "placed": True},
        ("scatter", None, 0.008),
        None,
    ),
    "scatter": ({"noise": 0.008}, ("scatter", None, 0.008), None),
}


def rows(found: Evidence, name: str, about: str | None, index: int | None):
    """Of each failed value that a fault can have made: what is said of it, None: it is not."""
    for failed in found.failed:
        if index is None or failed.judged.index == index:
            yield next(
                (c for c in failed.causes if (c.cause.name, c.cause.about) == (name, about)), None
            )


def test_faults_are_named_sized_and_not_ruled_out(judged):
    count: Counter[str] = Counter()
    for number, (fault, (faults, (name, about, size), index)) in enumerate(FAULTS.items()):
        for seed in range(SEEDS):
            found = list(rows(judged(1000 * number + seed, **faults), name, about, index))
            assert found, f"{fault}: nothing fails"
            for row in found:
                assert row is not None, f"{fault}: not named"
                count["values"] += 1
                count[row.state] += 1
                if size is not None:
                    count["sized"] += 1
                    count["covered"] += row.needed[0] <= size <= row.needed[1]
    assert count["values"] > 100
    # Of n tries at 95.45 % the worst in a thousand are some 3 standard deviations below.
    assert count["contradicted"] <= 0.0455 * count["values"]
    least = 0.9545 - 3 * (0.9545 * 0.0455 / count["sized"]) ** 0.5
    assert count["covered"] >= least * count["sized"]


MORE = {
    "gain, with placings": {"gain": 2.4e-4, "placed": True},
    "gain, on a pan that was tried": {"gain": 2.4e-4, "pan": True},
    "knock in a hot run, with blank runs": {"jump_in_loss": 0.01, "heating": True, "blank": True},
}


def test_something_is_always_ruled_out(judged):
    """A table that leaves everything possible would pass the test above."""
    for name, ruled_out in (
        ("gain", {"zero-change"}),
        ("knock in the run", {"zero-change", "departure", "curvature", "weight"}),
        ("weight off on the pan", {"zero-change"}),
        ("tare", {"zero-change", "departure", "curvature"}),
        ("gain, with placings", {"scatter"}),
        ("gain, on a pan that was tried", {"off-centre"}),
        ("knock in a hot run, with blank runs", {"hot-zero-drift"}),
    ):
        faults = FAULTS[name][0] if name in FAULTS else MORE[name]
        failed = judged(7, **faults).failed
        against = {c.cause.name for f in failed for c in f.causes if c.state == "contradicted"}
        assert ruled_out <= against, name


def test_balances_in_order_get_no_cause(judged):
    for seed in range(3 * SEEDS):
        found = judged(
            90_000 + seed,
            separate=bool(seed % 2),
            heating=bool(seed % 3),
            blank=bool(seed % 4),
            placed=bool(seed % 5),
            pan=bool(seed % 3),
        )
        assert found.failed == ()
        assert all(one.agrees for one in found.compared)


@settings(max_examples=15)
@given(
    gain=st.floats(-5e-4, 5e-4),
    step=st.floats(-0.01, 0.01),
    dirt=st.floats(-0.05, 0.05),
    seed=st.integers(0, 10**6),
)
def test_whatever_the_faults(judged, gain, step, dirt, seed):
    """Laws: a needed size moves its value out of the limits; states follow from the bounds."""
    found = judged(seed, gain=gain, zero_step=step, dirt={"A10": dirt})
    for failed in found.failed:
        value = float(failed.criterion.value)
        for cause in failed.causes:
            assert cause.needed[0] <= cause.needed[1]
            against = [bound for bound in cause.bounds if not cause.agrees(bound)]
            wanted = "possible"
            if against:
                wanted = "not-alone" if all(b.fails for b in against) else "contradicted"
            assert cause.state == wanted
            if cause.needed[0] * cause.needed[1] > 0 and not cause.cause.unsigned:
                # Not nothing: the value lies farther from zero than its uncertainty.
                assert abs(value) > float(failed.criterion.expanded_uncertainty)
    for _, (low, high) in found.alone:
        assert low <= high
