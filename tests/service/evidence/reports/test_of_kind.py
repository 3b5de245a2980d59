"""Requests of a kind of check that pages were never written for: an invented probe in a chamber.

What stands where was read off the request by eye.
"""

import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from weighworthy_service.checks.registry import BY_SLUG
from weighworthy_service.checks.request import WeightlessForm
from weighworthy_service.evidence.reports.annex import units_note
from weighworthy_service.evidence.reports.asked_view import facts, readings, weights
from weighworthy_service.evidence.reports.blind import blind, cautions
from weighworthy_service.evidence.reports.of_kind import (
    OfKind,
    criterion_name,
    kind_name,
    series_name,
)
from weighworthy_service.evidence.reports.words import words
from weighworthy_service.wire.containers import ListOf, Part
from weighworthy_service.wire.fields import OneOf, Quantity, Text
from weighworthy_service.wire.form import Form

PAGES = """
from weighworthy_service.checks.pages import Figure, Pages

PAGES = Pages(
    criteria={"warmth": "Error of temperature"},
    series={"warmth": "Errors at one set point"},
    fields={"set": "Set to"},
    values={"near": "beside the pan"},
    found=(Figure("error", "Too warm by", "K"),),
    blind=("The sample.",),
    cautions=("The probe is hot.",),
)
"""


class CorrectionForm(Form):
    at = Quantity("temperature", required=True)
    correction = Quantity("temperature_difference", required=True)


class ProbeForm(Form):
    id = Text()
    lot = Text()
    interval = Quantity("temperature_difference")
    corrections = ListOf(Part(CorrectionForm), maximum=10)


class SetPointForm(Form):
    set = Quantity("temperature", required=True)
    shown = ListOf(Quantity("temperature"), maximum=1000)
    series = ListOf(Part(CorrectionForm), maximum=10)


class WarmForm(WeightlessForm):
    check = OneOf(("warm-up",))
    probe = Part(ProbeForm)
    place = OneOf(("near", "far"))
    set_points = ListOf(Part(SetPointForm), maximum=10, required=True)


CORRECTION = {"correction": "-0.2 K", "at": "100 Cel"}
REQUEST: dict[str, Any] = {
    "place": "near",
    "set_points": [
        {"shown": ["104.6 Cel", "104.8 Cel"], "set": "105 Cel", "series": [CORRECTION]},
        {"set": "130 Cel", "shown": ["129.9 Cel"] * 40},
    ],
    "probe": {"interval": "0.1 K", "lot": "12 g", "corrections": [CORRECTION]},
    "instrument": {"id": "MA-07", "scale_interval": "1 mg"},
}
RESULTS = {"set_points": [{"index": 0, "error": -0.3}, {"index": 1, "error": 0.25}]}


def enter(monkeypatch: pytest.MonkeyPatch, folder: Path, **modules: str) -> None:
    package = f"warm_{len(modules)}"
    (folder / package).mkdir()
    for name, text in {"__init__": "", **modules}.items():
        (folder / package / f"{name}.py").write_text(text, "utf-8")
    monkeypatch.syspath_prepend(folder)
    for name in [name for name in sys.modules if name.startswith(package)]:
        monkeypatch.delitem(sys.modules, name)
    kind = replace(
        BY_SLUG["span"], slug="warm-up", title="Warm-up", package=package, form=WarmForm()
    )
    monkeypatch.setitem(BY_SLUG, "warm-up", kind)


@pytest.fixture
def silent(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> OfKind:
    enter(monkeypatch, tmp_path)
    return OfKind(words("en"), "warm-up")


@pytest.fixture
def speaking(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> OfKind:
    enter(monkeypatch, tmp_path, pages=PAGES)
    return OfKind(words("en"), "warm-up")


def plain(text: str | None) -> str | None:
    return None if text is None else text.replace("\N{NO-BREAK SPACE}", " ")


def test_its_own_fields_are_facts_in_the_order_of_the_form(silent: OfKind) -> None:
    assert [(title, plain(text)) for title, text in facts(silent, REQUEST)] == [
        ("Probe: Lot", "12 g"),
        ("Probe: Interval", "0.1 K"),
        ("Place", "near"),
    ]


def test_free_texts_are_no_quantities(silent: OfKind) -> None:
    german = OfKind(words("de"), "warm-up")
    request = {**REQUEST, "probe": {"lot": "1.5 g", "interval": "0.1 K"}}
    assert [plain(text) for _, text in facts(german, request)] == ["1.5 g", "0,1 K", "near"]


def test_lists_are_tables_and_those_in_parts_too(silent: OfKind) -> None:
    points, corrections = readings(silent, REQUEST, RESULTS)
    # Nothing says in which unit the errors are, so they are not shown.
    assert points.heads == ["#", "Set", "Shown"]
    assert points.numeric == [False, True, False]
    assert [[plain(cell) for cell in row] for row in points.rows] == [
        ["1", "105 °C", "104.6 °C, 104.8 °C"],
        ["2", "130 °C", f"{', '.join(['129.9 °C'] * 5)}, … (n = 40)"],
    ]
    assert corrections.heads == ["#", "At", "Correction"]
    assert weights(silent, REQUEST).rows == []


def test_a_kind_says_what_things_are_called(speaking: OfKind) -> None:
    points, _ = readings(speaking, REQUEST, RESULTS)
    assert points.heads == ["#", "Set to", "Shown", "Too warm by"]
    assert [plain(row[-1]) for row in points.rows] == ["\N{MINUS SIGN}0.3 K", "0.25 K"]
    assert dict(facts(speaking, REQUEST))["Place"] == "beside the pan"
    assert kind_name(words("en"), "warm-up") == "Warm-up"
    assert criterion_name(words("en"), "warmth") == "Error of temperature"
    assert series_name(words("en"), "warm-up", "warmth") == "Errors at one set point"
    assert blind(speaking, {"results": {}}) == ["The sample."]
    assert cautions(speaking)[1] == "The probe is hot."


def test_without_words_of_its_own_in_general_ones(silent: OfKind) -> None:
    (text,) = blind(silent, {"results": {}})
    assert "the moment and the conditions" in text
    assert "loads" not in text
    assert criterion_name(words("en"), "warm_side") == "Warm side"
    assert len(cautions(silent)) == 2


def test_a_kind_that_is_gone_still_has_a_page() -> None:
    of = OfKind(words("en"), "long-gone")
    assert kind_name(words("en"), "long-gone") == "Long gone"
    assert readings(of, {"rows": [{"x_y": "1 g"}]}, {})[0].heads == ["#", "X y"]


def test_figures_of_the_annex_are_in_the_units_of_the_criteria() -> None:
    assert "in K" not in units_note(words("en"), ["g", "%"])
    assert "temperature in K" in units_note(words("en"), ["g", "K"])
