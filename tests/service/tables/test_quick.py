"""The quick way and the way of a single request give the same answers to the last byte."""

import json
from collections import Counter
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from copy import deepcopy
from dataclasses import replace
from random import Random
from typing import Any, Final

import pytest

from weighworthy_service.checks.answer import answer, request_digest
from weighworthy_service.checks.answer_text import answer_text
from weighworthy_service.checks.kind import Kind
from weighworthy_service.checks.registry import KINDS
from weighworthy_service.json_text import to_bytes
from weighworthy_service.profiles.finding import built_in
from weighworthy_service.profiles.judging import Judged, judge
from weighworthy_service.profiles.refusal import Refusal
from weighworthy_service.tables import quick as quick_module
from weighworthy_service.tables import settling
from weighworthy_service.tables.finder import AtHand
from weighworthy_service.tables.quick import Judge, Single

LOSS: Final = KINDS[2]
ABSENT: Final = object()
INDICATIONS: Final = [
    "12.002 g", "12.001 g", "10.001 g", "10.0010 g", "10001 mg", "12.002g", "0 g", "0.000 g",
    "-1.0 g", "12,002 g", "12.002", "12.002  g", " 12.002 g", "12.002 g ", "1e1 g", "12.002 %",
    "999999999999.999999999 g", "0.000000001 g", 12.002, 12, None, ABSENT, "", [], {}, True,
]  # fmt: skip
LOSSES: Final = [
    "16.67 %", "16.6 %", "17.1 %", "-0.01 %", "0 %", "16,67 %", "16.67", "167 g", "100 %", 16.67,
    None, ABSENT, "16.671234567 %", {},
]  # fmt: skip
TIMES: Final = [
    "2026-03-17T06:55:00+01:00", "2026-03-17T07:55:00Z", "2025-12-31T23:59:59-11:00",
    "2027-01-20T00:00:00+01:00", "2027-01-21T00:00:00+01:00", "2026-01-19T00:00:00+01:00",
    "2026-03-17", "2026-03-17T06:55:00", "2026-02-30T06:55:00Z", "2026-03-17T25:00:00Z",
    "2026-03-17T06:55:00+25:00", "2026-03-17T06:55:60Z", 5, None, ABSENT,
]  # fmt: skip
LABELS: Final = [
    {}, {"order": "V-1"}, {"order": ""}, {"": "x"}, {"order": 5}, {"order": None}, None, ABSENT,
    {"n" * 64: "x"}, {"n" * 65: "x"}, {"order": "x" * 1025}, {str(n): "x" for n in range(33)}, [],
    "order", {"é": "\U0001f9ea"},
]  # fmt: skip
PEOPLE: Final = ["C. Field", "", "x" * 200, "x" * 201, 5, None, ABSENT]
TEMPERATURES: Final = [
    "21 Cel", "21.5 Cel", "31.5 Cel", "31.51 Cel", "105 °C", "21", "294 K", "hot", 21, "", None,
    ABSENT,
]  # fmt: skip
ODD: Final = [
    (("basis",), ["wet", "dry", "moist", None]),
    (("heating",), [True, False, None, "yes"]),
    (("initial", "stable"), [True, False, None]),
    (("initial", "chamber_temperature"), TEMPERATURES),
    (("final", "chamber_temperature"), TEMPERATURES),
    (("initial", "load"), [["KM-31", "KM-32"], ["KM-31"], ["KM-99"], [], ["KM-31", "KM-31"]]),
    (("initial", "indicated"), ["12 g"]),
    (("initial",), [None, [], "12 g", ABSENT]),
    (("instrument", "loss_interval"), ["0.01 %", None, ABSENT, "0.1 %"]),
    (("instrument", "scale_interval"), ["1 mg", "0.1 mg", "0 g"]),
    (("method",), ["rapid", None, 7]),
    (("profile",), ["weighworthy-general", "weighworthy-general@1", "unheard-of", None, 4]),
    (("expect_profile_digest",), ["sha256:" + "0" * 64, None]),
    (("environment",), [{"temperature": "23 Cel"}, {"temperature": "99 Cel"}, None]),
    (("check",), ["simulated-loss", "span", None]),
    (("reading",), ["12 g"]),
    (("weights", "KM-31"), [{"nominal": "10 g"}, {"nominal": "10 g", "due_on": "2026-03-17"}]),
]  # fmt: skip


def put(document: dict[str, Any], path: tuple[str, ...], value: Any) -> None:
    *above, last = path
    for name in above:
        document = document.setdefault(name, {})
        if not isinstance(document, dict):
            return
    if value is ABSENT:
        document.pop(last, None)
    else:
        document[last] = deepcopy(value)


def odd_document(random: Random) -> dict[str, Any]:
    """An example with, mostly, two of its readings changed, and sometimes any part of it."""
    document: dict[str, Any] = deepcopy(LOSS.example["request"])
    changes = [
        (0.7, ("initial", "indication"), INDICATIONS[:4]),
        (0.7, ("final", "indication"), INDICATIONS[:5]),
        (0.2, ("initial", "indication"), INDICATIONS),
        (0.2, ("final", "indication"), INDICATIONS),
        (0.5, ("displayed_loss",), LOSSES),
        (0.4, ("performed_at",), TIMES),
        (0.4, ("labels",), LABELS),
        (0.2, ("performed_by",), PEOPLE),
        *((0.05, path, values) for path, values in ODD),
    ]
    for chance, path, values in changes:
        if random.random() < chance:
            put(document, path, random.choice(values))
    return document


def judged_alone(find: AtHand) -> Callable[[Kind, dict[str, Any]], Judged]:
    return lambda kind, document: judge(kind, document, find.find)


def judged_quickly(find: AtHand) -> Callable[[Kind, dict[str, Any]], Judged]:
    quick = Judge(find, lambda evaluation, profile: (evaluation, profile), digests=True)

    def judged(kind: Kind, document: dict[str, Any]) -> Judged:
        found = quick.judged(kind, document)
        assert found.digest == request_digest(document, kind.slug)
        evaluation, profile = found.made
        return Judged(found.labels, profile, evaluation)

    return judged


def judged_singly(find: AtHand) -> Callable[[Kind, dict[str, Any]], Judged]:
    by_kind: dict[str, Single] = {}

    def judged(kind: Kind, document: dict[str, Any]) -> Judged:
        if kind.slug not in by_kind:
            by_kind[kind.slug] = Single(kind, find)
        found, digest = by_kind[kind.slug].judged(document)
        assert digest == request_digest(document, kind.slug)
        said = by_kind[kind.slug].said(to_bytes(document), json.loads, "0")
        assert (said.verdict, said.profile) == (found.evaluation.verdict, found.profile)
        assert said.text == answer_text(
            found.evaluation,
            profile=found.profile,
            version="0",
            request_digest=digest,
            labels=found.labels,
        )
        return found

    return judged


def told(kind: Kind, document: dict[str, Any], by: Any) -> bytes:
    """What is answered, or refused, in bytes."""
    try:
        judged: Judged = by(kind, document)
    except Refusal as refusal:
        return repr((refusal.slug, refusal.detail, refusal.errors)).encode()
    form: dict[str, Any] = {
        "profile": judged.profile,
        "version": "0",
        "request_digest": "",
        "labels": judged.labels,
    }
    for short in (True, False):
        said = to_bytes(answer(judged.evaluation, **form, short=short))
        assert answer_text(judged.evaluation, **form, short=short) == said
    return said


@pytest.mark.parametrize("by", [judged_quickly, judged_singly])
@pytest.mark.parametrize("number", range(4))
def test_a_thousand_odd_requests(number: int, by: Callable[[AtHand], Any]) -> None:
    random = Random(number)  # noqa: S311
    quick, alone = by(AtHand(built_in())), judged_alone(AtHand(built_in()))
    seen: Counter[bytes] = Counter()
    for _ in range(1000):
        document = odd_document(random)
        before = deepcopy(document)
        said = told(LOSS, document, quick)
        assert document == before
        assert said == told(LOSS, document, alone), document
        seen[said[:12]] += 1
    # Both answers and refusals were among them, each hundreds of times.
    answered = sum(times for said, times in seen.items() if said.startswith(b'{"check":'))
    assert 200 < answered < 800


@pytest.mark.parametrize("by", [judged_quickly, judged_singly])
@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.slug)
def test_every_kind_goes_one_of_the_ways(kind: Kind, by: Callable[[AtHand], Any]) -> None:
    find = AtHand(built_in())
    said = told(kind, kind.example["request"], by(find))
    assert said == told(kind, kind.example["request"], judged_alone(find))


@pytest.mark.parametrize("by", [judged_quickly, judged_singly])
def test_equal_circumstances_are_settled_once(by: Callable[[AtHand], Any]) -> None:
    """Other readings, times of the day, people and labels are no other circumstances; nor are
    temperatures of a chamber that stays cold."""
    made: list[Any] = []

    def prepare(check: Any, terms: Any) -> Any:
        made.append(check)
        return LOSS.preparation.prepare(check, terms)

    assert LOSS.preparation is not None
    kind = replace(LOSS, preparation=replace(LOSS.preparation, prepare=prepare))
    quick = by(AtHand(built_in()))
    for number in range(50):
        document = deepcopy(LOSS.example["request"])
        document["initial"]["indication"] = f"12.0{number:02} g"
        document["displayed_loss"] = f"16.{number:02} %"
        document["performed_at"] = f"2026-03-17T06:{number:02}:00+01:00"
        document["performed_by"] = f"Analyst {number}"
        document["labels"] = {"order": str(number)}
        document["initial"]["chamber_temperature"] = f"{20 + number % 7} Cel"
        document["final"]["chamber_temperature"] = f"{22 + number % 5} Cel"
        assert quick(kind, document).evaluation.verdict is not None
    assert len(made) == 1


def test_threads_share_what_is_settled(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever one forgets while others are at work with it: the same answers."""
    monkeypatch.setattr(settling, "KEPT", 3)
    monkeypatch.setattr(quick_module, "_TOGETHER", 4000)
    find = AtHand(built_in())
    random = Random(7)  # noqa: S311
    documents = [odd_document(random) for _ in range(60)]
    alone = judged_alone(find)
    expected = [told(LOSS, document, alone) for document in documents]
    together = judged_singly(find)
    told(LOSS, documents[0], together)

    def answers(shift: int) -> list[bytes]:
        order = [*range(shift, len(documents)), *range(shift)]
        return [told(LOSS, documents[n], together) for n in order]

    with ThreadPoolExecutor(4) as pool:
        for shift, found in zip((0, 15, 30, 45), pool.map(answers, (0, 15, 30, 45)), strict=True):
            assert found == expected[shift:] + expected[:shift]


def test_a_text_with_the_mark_of_a_place_is_written_by_itself() -> None:
    """Where places are marked by a character that somebody's own text has, too."""
    single = Single(LOSS, AtHand(built_in()))
    document = deepcopy(LOSS.example["request"])
    document["profile"] = {
        "id": "marked",
        "revision": "1",
        "title": "Invented",
        "rules": [{"limits": {"loss_error": {"within": "0.05 %", "source": "\ue124"}}}],
    }
    judged, digest = single.judged(document)
    said = single.said(to_bytes(document), json.loads, "0").text
    assert "\ue124" in said.decode()
    assert said == answer_text(
        judged.evaluation,
        profile=judged.profile,
        version="0",
        request_digest=digest,
        labels=judged.labels,
    )
