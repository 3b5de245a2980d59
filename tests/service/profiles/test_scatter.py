"""`scatter_at_most`: a condition on the start load of a simulated loss."""

import pytest

from weighworthy_service.profiles.errors import ProfileNotUsable
from weighworthy_service.profiles.finding import built_in
from weighworthy_service.profiles.reading import read_profile

PUBLISHED = {"share": "0.10 %", "floor": "0.41 d", "observations": 10, "else": "no-pass"}


def codes(scatter, *, checks=("simulated-loss",), extends=None):
    document = {
        "id": "own",
        "revision": "1",
        "rules": [{"checks": list(checks), "validity": {"scatter_at_most": scatter}}],
        **({"extends": extends} if extends else {}),
    }
    try:
        read_profile(document, built_in())
    except ProfileNotUsable as error:
        return [flaw.code for flaw in error.flaws]
    return []


@pytest.mark.parametrize("floor", ["0.41 mg", "0.41 e", "-1 d", "0.1 %"])
def test_the_floor_is_a_number_of_scale_intervals(floor):
    assert codes({**PUBLISHED, "floor": floor}) == ["unit-not-for-criterion"]


def test_only_a_simulated_loss_weighs_a_sample():
    assert codes(PUBLISHED, checks=["span"]) == ["not-for-check"]
    assert codes({"share": "0.10 %"}) == []


@pytest.mark.parametrize(
    ("changed", "looser"),
    [
        ({}, False),
        ({"share": "0.09 %"}, False),
        ({"share": "0.11 %"}, True),
        ({"floor": "0.40 d"}, True),
        ({"floor": None}, True),
        ({"observations": 20}, False),
        ({"observations": 9}, True),
        ({"else": "void"}, False),
        ({"else": "warning"}, True),
    ],
)
def test_what_loosens_the_published_condition_needs_a_reason(changed, looser):
    found = codes({**PUBLISHED, **changed}, extends="usp-41-repeatability@1")
    assert bool(found) is looser
