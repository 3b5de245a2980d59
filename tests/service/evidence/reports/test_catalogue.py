import json
import re
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from weighworthy_service.checks.registry import KINDS
from weighworthy_service.evidence.languages import LANGUAGES
from weighworthy_service.evidence.reports import catalogue
from weighworthy_service.evidence.reports.catalogue import compiled, read, texts_of
from weighworthy_service.evidence.reports.sentences import said
from weighworthy_service.evidence.reports.words import SAID, messages

# Looked for once: going through the source takes seconds.
collected = cache(catalogue.collected)
OTHERS = LANGUAGES[1:]
NAME = re.compile(r"\{(\w*)(?::[^{}]*)?\}")
HOW = "run `python -m weighworthy_service.evidence.reports.catalogue` and translate what is new"


@pytest.mark.parametrize("language", OTHERS)
def test_every_text_has_a_translation(language: str) -> None:
    known = messages(language)
    missing = [m.id for m in collected() if m.id and not known.get((m.context, m.id))]
    assert missing == [], HOW


@pytest.mark.parametrize("language", OTHERS)
def test_translations_have_the_values_of_their_texts(language: str) -> None:
    for message in read(language):
        if message.id:
            assert sorted(NAME.findall(message.id)) == sorted(NAME.findall(message.string))


@pytest.mark.parametrize("language", OTHERS)
def test_what_is_compiled_is_what_is_written(language: str) -> None:
    assert texts_of(language).with_suffix(".mo").read_bytes() == compiled(read(language)), HOW


@pytest.mark.parametrize("language", OTHERS)
def test_nothing_is_translated_that_is_not_said(language: str) -> None:
    said_somewhere = {(m.context, m.id) for m in collected()}
    assert [m.id for m in read(language) if (m.context, m.id) not in said_somewhere] == [], HOW


def test_sentences_that_a_person_finds_in_the_source_are_among_those_collected() -> None:
    # Picked by reading the source: an f-string, a plain one, one passed on, one of a logbook.
    found = set(engine())
    assert "{name} was due for calibration on {due}" in found
    assert "the indication is above the capacity" in found
    assert "A change of zero between the two readings" in found
    assert "do a {check} check: none has passed yet" in found
    assert "all points are of one instant: no slope" in found
    assert len(found) > 100


@pytest.mark.parametrize("language", OTHERS)
def test_every_sentence_is_found_again_by_its_template(language: str) -> None:
    """Each with values that mean nothing, as the engine would put them in."""
    known = messages(language)
    for template in engine():
        filled = NAME.sub("Q7", template)
        wanted = NAME.sub("Q7", known[SAID, template])
        assert said(filled, language) == wanted, template


def engine() -> list[str]:
    """Sentences that the engine decides on, without single words."""
    return [m.id for m in collected() if m.context == SAID and " " in m.id]


def answers() -> list[dict[str, Any]]:
    return [kind.example["answer"] for kind in KINDS]


@pytest.mark.parametrize("language", OTHERS)
def test_what_the_worked_examples_say_is_translated(language: str) -> None:
    spoken = []
    for answer in answers():
        spoken += [finding["message"] for finding in answer["findings"]]
        spoken += [line["message"] for line in answer["results"].get("reveals", ())]
        spoken += [row["source"] for c in answer["criteria"] for row in c["budget"]]
        spoken += [row["distribution"] for c in answer["criteria"] for row in c["budget"]]
        spoken += [c["decision_rule"] for c in answer["criteria"] if c["decision_rule"]]
    assert len(spoken) > 50
    # A normal distribution is one in German, too.
    assert {text for text in spoken if said(text, language) == text} <= {"normal"}


def test_translations_are_no_copies() -> None:
    """Words that are alike in both languages are few, and listed."""
    alike = {
        *("k", "U", "normal", "Name", "Drift", "k, ν", "Linearity"),
        *("routine", "Hysteresis", "of", "Material"),
    }
    same = [m.id for m in read("de") if m.id and m.string == m.id]
    assert set(same) <= alike | {m for m in same if not re.search("[a-z]{3}", NAME.sub("", m))}


def test_the_catalogue_is_no_larger_than_needed() -> None:
    assert Path(texts_of("de")).stat().st_size < 200_000
    assert json.dumps(sorted({m.context for m in read("de") if m.id}, key=str)) == '[null, "said"]'
