"""A body that is like an earlier one says what it says; any other goes the long way."""

import gc
import json
from collections.abc import Callable
from copy import deepcopy
from typing import Any, Final

import pytest

from weighworthy_service import json_text
from weighworthy_service.checks.kind import Kind
from weighworthy_service.checks.registry import BY_SLUG
from weighworthy_service.checks.simulated_loss.evaluation import PreparedLoss
from weighworthy_service.profiles.finding import built_in
from weighworthy_service.profiles.refusal import Refusal
from weighworthy_service.tables.finder import AtHand
from weighworthy_service.tables.quick import Said, Single

LOSS: Final[Kind] = BY_SLUG["simulated-loss"]


def body(**changes: Any) -> bytes:
    document = deepcopy(LOSS.example["request"])
    document["labels"] = {"order": "V-1"}
    document["performed_by"] = "C. Field"
    document |= changes
    return json.dumps(document, ensure_ascii=False, indent=1).encode()


OURS: Final = body()


def read_once(single: Single) -> Callable[[bytes], Said]:
    """Answers, and fails where a body is read the long way."""

    def never(_raw: bytes) -> Any:
        raise AssertionError("it went the long way")

    return lambda raw: single.said(raw, never, "0")


def said(single: Single, raw: bytes) -> bytes:
    try:
        return single.said(raw, json_text.parse, "0").text
    except json_text.MalformedJsonError as error:
        return f"malformed: {error}".encode()
    except Refusal as refusal:
        return repr((refusal.slug, refusal.errors)).encode()


@pytest.fixture
def single() -> Single:
    """One that has answered `OURS`."""
    one = Single(LOSS, AtHand(built_in()))
    one.said(OURS, json_text.parse, "0")
    return one


@pytest.mark.parametrize(
    "raw",
    [
        OURS,
        OURS.replace(b"V-1", b"V-2"),
        OURS.replace(b"V-1", b""),
        OURS.replace(b"V-1", "é µ \U0001f9ea".encode()),
        OURS.replace(b"C. Field", b"D. Heath"),
        OURS.replace(b"12.002 g", b"12.001 g"),
        OURS.replace(b"12.002 g", b"12001 mg"),
        OURS.replace(b"T06:55", b"T07:40"),
    ],
)
def test_what_differs_in_its_own_texts_is_not_read_again(single: Single, raw: bytes) -> None:
    assert raw == OURS or raw not in OURS
    alone = Single(LOSS, AtHand(built_in()))
    assert read_once(single)(raw).text == said(alone, raw)


ODD: Final = {
    "another blank": OURS.replace(b'"12.002 g"', b' "12.002 g"'),
    "cut": OURS[:-1],
    "more behind": OURS + b" x",
    "a second label": OURS.replace(b'"V-1"', b'"V-1", "order2": "V-1"'),
    "a label twice": OURS.replace(b'"V-1"', b'"V-1", "order": "V-2"'),
    "an escape": OURS.replace(b"V-1", b"V\\u002d1"),
    "an escaped quote": OURS.replace(b"V-1", b'V-1\\"'),
    "a quote": OURS.replace(b"V-1", b'V-1"'),
    "a line feed": OURS.replace(b"V-1", b"V\n1"),
    "no UTF-8": OURS.replace(b"V-1", b"V-\xff"),
    "a mark": b"\xef\xbb\xbf" + OURS,
    "a reading of none": OURS.replace(b'"12.002 g"', b"null"),
    "a number": OURS.replace(b'"12.002 g"', b"12.002"),
    "a reading without unit": OURS.replace(b"12.002 g", b"12.002"),
    "another unit": OURS.replace(b"12.002 g", b"12.002 %"),
    "a long reading": OURS.replace(b"12.002 g", b"12.00" + b"0" * 40 + b" g"),
    "a long label": OURS.replace(b"V-1", b"x" * 1025),
    "a long name": OURS.replace(b"C. Field", b"x" * 201),
    "no time": OURS.replace(b"T06:55", b"T26:55"),
    "another weight": OURS.replace(b'"KM-32"', b'"KM-31"', 1),
    "an empty body": b"",
    "other braces": OURS.replace(b"{", b"[", 1),
}


@pytest.mark.parametrize("name", ODD)
def test_what_differs_otherwise_is_answered_as_if_nothing_had_been_before(
    single: Single, name: str
) -> None:
    alone = Single(LOSS, AtHand(built_in()))
    assert ODD[name] != OURS
    assert said(single, ODD[name]) == said(alone, ODD[name])


def test_equal_texts_at_different_places_are_told_apart(single: Single) -> None:
    """Person, label and temperatures that say the same are still each their own."""
    first = body(performed_by="same", labels={"a": "same", "b": "same"})
    other = body(performed_by="other", labels={"a": "same", "b": "third"})
    said(single, first)
    answer = json.loads(read_once(single)(other).text)
    assert answer["labels"] == {"a": "same", "b": "third"}
    alone = Single(LOSS, AtHand(built_in()))
    assert said(alone, other) == read_once(single)(other).text


def test_another_day_is_looked_at_anew(single: Single) -> None:
    """A due date between two days decides, whatever else is alike."""
    request = deepcopy(LOSS.example["request"])
    for weight in request["weights"].values():
        weight["due_on"] = "2026-06-30"
    before, after = ({**request, "performed_at": f"2026-0{m}-01T08:00:00Z"} for m in (6, 7))
    codes = []
    for document in (before, after, before, after):
        answer = json.loads(said(single, json.dumps(document).encode()))
        codes.append("weight-overdue" in [finding["code"] for finding in answer["findings"]])
    assert codes == [False, True, False, True]


def test_what_is_kept_is_bounded(single: Single, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("weighworthy_service.tables.glance._TOGETHER", 3 * len(OURS))
    for number in range(20):
        raw = OURS.replace(b'"KM-31"', f'"KM-31-{number}"'.encode())
        assert b'"verdict"' in said(single, raw)
    assert single._glance is not None
    assert single._glance._kept <= 3 * len(OURS)


def test_what_was_settled_goes_with_its_numbers(
    single: Single, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Requests that each state another weight must not fill the memory with what they brought."""
    monkeypatch.setattr("weighworthy_service.tables.quick._TOGETHER", 5 * len(OURS))

    def alive() -> int:
        gc.collect()
        return sum(isinstance(one, PreparedLoss) for one in gc.get_objects())

    before = alive()
    for number in range(40):
        said(single, OURS.replace(b'"KM-31"', f'"KM-31-{number}"'.encode()))
    assert alive() - before < 20


def test_bodies_that_never_come_again_do_not_keep_out_those_that_do(
    single: Single, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("weighworthy_service.tables.glance._BODIES", 10)
    for number in range(25):
        said(single, OURS.replace(b'"KM-31"', f'"KM-31-{number}"'.encode()))
    other = body(method="rapid")
    for _ in range(2):
        said(single, other)
    assert read_once(single)(other).text == said(Single(LOSS, AtHand(built_in())), other)
