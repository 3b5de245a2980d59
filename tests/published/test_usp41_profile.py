"""USP general chapter <41> (text of 2019), as the profiles made of it judge.

From quotations and summaries of the chapter: a weight of 5 % to 100 % of the capacity deviates by
at most 0.10 %; its own error is at most a third of that. Repeatability, 2·s/m of at most 0.10 %
with s not below 0.41 d from ten weighings, is a profile of its own, held against the start load.
"""

from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.validity import scatter_findings
from weighworthy_service.metrology.instrument import Instrument
from weighworthy_service.profiles.finding import built_in
from weighworthy_service.profiles.resolve import terms_for
from weighworthy_service.web.app import create_app


def answer(nominal: str, shown: str, weight_class: str = "OIML F1", capacity: str | None = "100 g"):
    request = {
        "profile": "usp-41-accuracy",
        "instrument": {"scale_interval": "1 mg", "capacity": capacity},
        "weights": {"W": {"nominal": f"{nominal} g", "weight_class": weight_class}},
        "rounds": [{"stage": "as-found", "load": ["W"], "zero": "0 g", "indication": f"{shown} g"}],
    }
    return create_app().test_client().post("/v1/checks/span", json=request).get_json()


def codes(found) -> set[str]:
    return {finding["code"] for finding in found["findings"]}


@pytest.mark.parametrize(
    ("nominal", "shown", "verdict"),
    [
        # 0.10 % of 50 g is 50 mg, of 100 g 100 mg, of 5 g 5 mg; ends included.
        ("50", "50.050", "pass"),
        ("50", "50.051", "fail"),
        ("50", "49.950", "pass"),
        ("50", "49.949", "fail"),
        ("100", "99.900", "pass"),
        ("5", "5.005", "pass"),
        ("5", "5.006", "fail"),
    ],
)
def test_a_tenth_of_a_percent_from_5_to_100_percent_of_the_capacity(nominal, shown, verdict):
    assert answer(nominal, shown)["verdict"] == verdict


@pytest.mark.parametrize("nominal", ["2", "200"])
def test_a_weight_outside_5_to_100_percent_shows_nothing(nominal):
    found = answer(nominal, f"{nominal}.000")
    assert found["verdict"] == "void"
    assert "no-limit-for-load" in codes(found)


def test_without_the_capacity_nothing_passes():
    found = answer("50", "50.000", capacity=None)
    assert found["verdict"] in (None, "void")
    assert "not-stated" in codes(found)


@pytest.mark.parametrize(
    ("weight_class", "verdict"),
    # A third of 50 mg is 16.7 mg: M3 (30 mg) is too coarse for 50 g, M2 (10 mg) is not.
    [("OIML M2", "pass"), ("OIML M3", "void")],
)
def test_the_weight_takes_at_most_a_third(weight_class, verdict):
    assert answer("50", "50.000", weight_class)["verdict"] == verdict


def test_the_limit_names_its_source_and_how_it_was_read():
    (criterion, *_) = answer("50", "50.000")["criteria"]
    assert Fraction(str(criterion["upper_limit"])) == Fraction(5, 100)
    assert "USP <41>, text of 2019, accuracy (secondary text)" in criterion["limit_source"]


def test_what_is_missing_is_said():
    profile = built_in().find("usp-41-accuracy", None)
    assert "Repeatability" in profile.document["description"]
    assert {name for rule in profile.rules for name in rule.limits} == {"span_error"}


# USP <41>, repeatability: d in mg, s in mg, smallest net mass 2000·max(s, 0.41 d) in g. The first
# row is the chapter's own example (quoted on a public page), the others are computed from its rule.
SMALLEST = [
    ("0.1", "0.15", "0.3"),
    ("0.1", "0.03", "0.082"),
    ("1", "0.2", "0.82"),
    ("1", "1", "2"),
]


@pytest.mark.parametrize(("d", "s", "smallest"), SMALLEST)
def test_repeatability_against_the_start_load(d: str, s: str, smallest: str) -> None:
    """On the smallest net mass the requirement is kept, a microgram below it is not."""
    balance = Instrument(
        Decimal(d).scaleb(-3),
        repeatability=Decimal(s).scaleb(-3),
        repeatability_observations=10,
    )
    here = Circumstances(balance, {})
    profile = built_in().find("usp-41-repeatability", None)
    required = terms_for(profile, "simulated-loss", here).validity.scatter_at_most

    def codes(load: Decimal) -> list[tuple[str, str]]:
        found = scatter_findings(here, load, required, "/initial/load")
        return [(finding.code, finding.severity) for finding in found]

    assert codes(Decimal(smallest)) == []
    assert codes(Decimal(smallest) - Decimal("0.000001")) == [("net-mass-too-small", "no-pass")]


@pytest.mark.parametrize(
    ("stated", "code"),
    [
        ({}, "not-stated"),
        ({"repeatability": "0.1 mg", "repeatability_observations": 9}, "too-few-observations"),
        ({"repeatability": "0.1 mg"}, "too-few-observations"),
        ({"repeatability": "0.1 mg", "repeatability_observations": 10}, None),
    ],
)
def test_repeatability_rests_on_ten_weighings(stated: dict[str, Any], code: str | None) -> None:
    """Over HTTP, with a limit of one's own built upon the published condition."""
    request = {
        "instrument": {"scale_interval": "1 mg", **stated},
        "weights": {
            "B10": {"nominal": "10 g", "weight_class": "OIML F1"},
            "B2": {"nominal": "2 g", "weight_class": "OIML F1"},
        },
        "initial": {"load": ["B10", "B2"], "indication": "12.000 g"},
        "final": {"load": ["B10"], "indication": "10.000 g"},
        "profile": {
            "id": "own",
            "revision": "1",
            "extends": "usp-41-repeatability@1",
            "rules": [{"limits": {"loss_error": {"within": "0.05 %"}}}],
        },
    }
    answer = create_app().test_client().post("/v1/checks/simulated-loss", json=request).get_json()
    assert answer["verdict"] == ("pass" if code is None else "void")
    codes = {f["code"] for f in answer["findings"] if f["severity"] == "no-pass"}
    assert codes == ({code} if code else set())
