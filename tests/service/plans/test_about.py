"""The figures of the page for people, by the plan itself; they are derived by hand on the page."""

import re
from importlib.resources import files

import pytest

from weighworthy_service.plans import combinations, loss_plan

ABOUT = (files("weighworthy_service.plans") / "about.md").read_text("utf-8")


def test_the_sample_by_hand(ask) -> None:
    balance = {"scale_interval": "1 mg", "repeatability": "0.6 mg"}
    answer = ask(
        "sample", instrument=balance, loss="20 %", target_uncertainty="0.03 %", share="100 %"
    )
    mass = float(re.search(r"m = 2·[0-9.]+/0.03 \| ([0-9.]+) g", ABOUT)[1])
    constant = float(re.search(r"= ([0-9.]+) %·g", ABOUT)[1])
    assert answer["smallest_sample"]["smallest_mass"] == pytest.approx(mass, rel=2e-6)
    assert answer["smallest_sample"]["uncertainty_times_mass"] == pytest.approx(constant, rel=2e-6)


def test_bounds_are_those_of_the_search() -> None:
    for bound in (combinations.MAX_COMBINATIONS, loss_plan.MAX_EVALUATED, loss_plan.MAX_JUDGED):
        assert f"{bound:,}" in ABOUT
