"""The worked example of the page, reckoned here from its readings alone."""

import json
import re
from fractions import Fraction
from importlib.resources import files

import pytest

FOLDER = files("weighworthy_service.sittings")
ABOUT = FOLDER.joinpath("about.md").read_text("utf-8")
EXAMPLE = json.loads(FOLDER.joinpath("example.json").read_text("utf-8"))


def mass(text):
    number, unit = text.split()
    return Fraction(number) / (1 if unit == "g" else 1000)


@pytest.fixture(scope="module")
def answered(client):
    answer = client.post("/v1/sittings?detail=short", json=EXAMPLE["request"]).get_json()
    # The version is no part of what is judged.
    version = answer["engine"]["version"]
    EXAMPLE["answer"]["engine"]["version"] = version
    for shown in EXAMPLE["answer"]["answers"]:
        shown["engine"]["version"] = version
    return answer


def cause(answered, name, weight=None):
    (failed,) = answered["evidence"]["failed"]
    return next(c for c in failed["causes"] if (c["cause"], c["weight"]) == (name, weight))


def test_example_is_what_is_answered(answered):
    assert answered == EXAMPLE["answer"]


def test_loss_and_the_size_of_a_change_of_zero(answered):
    # Masses of the weights: A10 is certified at 10.00006 g, A2 counts as 2 g.
    i0, i1 = Fraction("12.001"), Fraction("10.008")
    error = 100 * (i0 - i1) / i0 - 100 * (1 - Fraction("10.00006") / Fraction("12.00006"))
    assert f"{float(error):.9f}".replace("-", "−") in ABOUT
    u = Fraction("0.017")  # of the answer: its budget is the affair of another page
    c = -100 / i0
    ends = sorted(float((error + side * u) / c) for side in (-1, 1))
    drift = cause(answered, "zero-drift")
    assert [drift["from"], drift["to"]] == pytest.approx(ends, rel=1e-9)
    assert "0.005116 g  to  (" in ABOUT
    assert ends == pytest.approx([0.005116, 0.009197], abs=5e-7)
    assert cause(answered, "zero-change")["state"] == "contradicted"
    assert drift["state"] == "possible"


def test_departure_between_the_loads(answered):
    at_10, at_20 = Fraction("0.00094"), Fraction("0.002")
    at_12 = at_10 * Fraction(8, 10) + at_20 * Fraction(2, 10)
    assert float(at_12) == pytest.approx(0.001152)
    (loss,) = answered["losses"]
    (curve,) = loss["linearity"]
    # Interpolated between 10.00006 g and 20 g, not between nominal values: 0.006 parts in 1000.
    assert curve["departure"] == pytest.approx(float(at_10 - at_12 * 10 / 12), abs=2e-8)
    assert curve["effect"] == pytest.approx(-100 / 12.001 * curve["departure"], rel=1e-9)
    assert cause(answered, "departure")["state"] == "contradicted"


def test_weight_that_is_lifted_off(answered):
    # E falls by 100·S/(R+S)² per g by which a weight R is lighter than stated.
    c = 100 * 10.00006 / 12.00006**2
    of = cause(answered, "weight", "A2")
    low, high = (-0.059633912868 - 0.017) / c, (-0.059633912868 + 0.017) / c
    assert [of["from"], of["to"]] == pytest.approx([low, high], rel=1e-8)
    assert re.search("6.1 mg to 11 mg lighter", ABOUT)
    assert (round(-high * 1000, 1), round(-low * 1000)) == (6.1, 11)


def test_what_is_left_comes_and_goes(answered):
    (failed,) = answered["evidence"]["failed"]
    left = {c["cause"] for c in failed["causes"] if c["state"] == "possible"}
    assert left == {"gain-change", "zero-drift", "common-zero", "off-centre", "scatter"}
    assert failed["next"][0]["how"] == "again"
