"""Lines of a logbook that are read at a glance are read as strict JSON and the form read them, and
all others are left to these: whatever a line holds, the answer is the same to the byte."""

import json
from datetime import UTC, datetime, timedelta, timezone
from random import Random
from unittest.mock import patch

import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from weighworthy_service.logbook.quick import QuickLines
from weighworthy_service.logbook.reading import EntryReader, EntryRefused
from weighworthy_service.profiles.refusal import Refusal
from weighworthy_service.web.app import create_app
from weighworthy_service.web.logbook_placed import parse_line

LAW = settings(
    max_examples=150, deadline=None, derandomize=True, phases=[Phase.explicit, Phase.generate]
)
START = datetime(2026, 3, 1, tzinfo=UTC)
USE_ON = ("pass", "conditional-pass")
HEAD = {
    "at": "2026-03-20T12:00:00+01:00",
    "profile": {
        "id": "kmf-daily",
        "revision": "1",
        "rules": [{"checks": ["span"], "schedule": {"every": "30 h", "after": ["moved"]}}],
    },
}
TEXTS = [
    *("MA-07", "Ä. Brook", "x" * 200, "x" * 201, "😀" * 200, "é" * 199, "\x7f", "\u2028", ""),
    *('"', "\\", "\n", "\x1f", "}", "{", "]", '},"kind":"check","id":"', "a/b", "\ue000"),
]
TIMES = [
    *("2026-03-02T07:10:00Z", "2026-03-02T07:10:00.5+01:00", "2026-03-02T07:10:00.123456789Z"),
    *("2026-03-02T07:10:00.1234567890Z", "2026-03-02T07:10:00,5Z", "2026-03-02T07:10:00-00:00"),
    *("2026-03-02T07:10:00+24:00", "2026-03-02T24:00:00Z", "2026-03-02T07:10:60Z"),
    *("2026-02-30T07:10:00Z", "0000-01-01T00:00:00Z", "0001-01-01T00:00:00+23:59"),
    *("2026-03-02t07:10:00z", "2026-03-02 07:10:00Z", "2026-03-02T07:10Z", "2026-03-02T07:10:00"),
    *("2026-03-02T07:10:00+01:00:30", "٢٠26-03-02T07:10:00Z", "20260302T071000Z", "2026-03-02"),
]
ODD = [None, True, 0, -0.0, 1, 1.5e300, 10**30, "", "pass", [], ["pass"], {}, {"a": {"b": 1}}]
VERDICTS = ["pass", "pass", "fail", "conditional-pass", "void", None]
MORE_OF_AN_ANSWER = {
    "verdict_as_left": VERDICTS,
    "verdict_if_valid": VERDICTS,
    "profile": [{"id": "a", "revision": "1"}, {"id": "b"}, {}, None, "a@1"],
    "labels": [{"shift": "}"}, {"a": "{", "b": "]"}, {"a": ["b"]}],
    "results": [{"rounds": [{"index": 1}]}, {}, [], None],
    "criteria": [[], [{"name": "x"}], {}, None],
    "more": [*TEXTS, *ODD],
}
ODD_MEMBERS = {
    "id": [*TEXTS, *TEXTS, *ODD],
    "kind": ["check", "move", "Check", "assessment", *ODD],
    "at": [*TIMES, *TIMES, *ODD],
    "instrument": [*TEXTS, *ODD],
    "by": [*TEXTS, *ODD],
    "note": [*TEXTS, *TEXTS, *ODD],
    "answer": ODD,
    "answr": ODD,
}
# What may come into a line at any place.
SNIPPETS = [
    *(b'"', b"\\", b"{", b"}", b"[", b"]", b",", b":", b" ", b"\t", b"\r", b"\x0b", b"\x00"),
    *(b"\xff", b"\xc2\xa0", b"\xed\xa0\x80", b"\xef\xbb\xbf", b"\xc3\xa9", b"\x1f", b"\x7f"),
    *(b"\\u0041", b"\\ud800", b"\\ud83d\\ude00", b"\\n", b"\\q", b'\\"', b"\\/", b"\\u00"),
    *(b"NaN", b"-Infinity", b"-0", b"1e5", b"01", b"9" * 5000, b"null", b"true", b"nul", b"//"),
    *(b'"id": "x", ', b', "id": "x"', b'"usable": true, ', b', "by": null', b', "answer": {}'),
    *(b'"\\u0069d": "x", ', b'{"a": 1}', b"[" * 40, b'"a": {"a": 1, "a": 2}, ', b'"x": "}", '),
]
SPACING = [(", ", ": "), (",", ":"), (" ,\t", "\t: ")]
# What is drawn one by one would take most of the time; so one number draws a whole log.
SEEDS = st.integers(0, 2**32)


def an_answer(chance):
    """Most are short; and there is more in an answer than is looked at."""
    verdict = chance.choice(VERDICTS)
    answer = {
        "check": chance.choice(["span", "span", "linearity"]),
        "verdict": verdict,
        "verdict_as_found": chance.choice([verdict, *VERDICTS]),
        "usable": chance.choice([verdict in USE_ON, verdict in USE_ON, None]),
    }
    for name in chance.sample(sorted(MORE_OF_AN_ANSWER), chance.choice([0, 0, 1, 2])):
        answer[name] = chance.choice(MORE_OF_AN_ANSWER[name])
    return answer


def a_log(seed):
    """Lines that are much alike; one in three is odd in some way, and may be so again."""
    chance = Random(seed)  # noqa: S311  any log will do
    answers = [an_answer(chance) for _ in range(3)]
    names = ["id", "kind", "at", "instrument", "answer", *chance.sample(["by", "note"], 1)]
    if chance.random() < 0.5:
        chance.shuffle(names)
    spacing, ascii_alone = chance.choice(SPACING), chance.random() < 0.5
    end = chance.choice([b"\n", b"\r\n", b" \n"])
    lines = []
    for number in range(25):
        at = START + timedelta(minutes=chance.randrange(20 * 24 * 60))
        zone = timezone(
            timedelta(minutes=chance.choice([0, 60, 60, chance.randrange(-1439, 1440)]))
        )
        plain = {
            "id": f"c{number}",
            "kind": "check",
            "at": at.astimezone(zone).isoformat(),
            "instrument": chance.choice(["MA-07", "Wägung 9"]),
            "by": chance.choice(["Ä. Brook", None]),
            "note": chance.choice(["early", "late", None]),
            "answer": chance.choice(answers),
        }
        document = {name: plain[name] for name in names}
        odd = chance.random()
        if odd < 0.2:
            name = chance.choice(sorted(ODD_MEMBERS))
            document[name] = chance.choice(ODD_MEMBERS[name])
        elif odd < 0.22:
            del document[chance.choice(names)]
        line = json.dumps(document, separators=spacing, ensure_ascii=ascii_alone).encode()
        if 0.22 < odd < 0.35:
            first = chance.randrange(len(line) + 1)
            last = first + chance.choice([0, 0, 1, 2])
            line = line[:first] + chance.choice(SNIPPETS) + line[last:]
        lines += [line + end] * chance.choice([1, 1, 1, 2])
    return lines


def reader():
    return EntryReader(lambda *_: pytest.fail("nothing is judged"), USE_ON)


def told(reading):
    return reading.trusted, reading.judged_anew, reading.profiles.copy()


@LAW
@given(seed=SEEDS)
def test_a_line_read_at_a_glance_is_the_entry_that_the_long_way_reads(seed):
    quick = reader()
    reading = QuickLines(quick)
    for number, line in enumerate(a_log(seed)):
        before, slow = told(quick), reader()
        found = reading.read(line, f"/entries/{number}")
        after = told(quick)
        try:
            document = parse_line(line, number)
            entry = slow.read(document, f"/entries/{number}")
        except (Refusal, EntryRefused):
            assert found is None
            continue
        if found is None:
            assert before == after
            reading.learn(line, document, entry)
        else:
            assert (repr(found), found) == (repr(entry), entry)
            assert after[0] == before[0] + 1
            assert after[2] - before[2] == slow.profiles


def is_taken(line, number):
    try:
        reader().read(parse_line(line, number))
    except (Refusal, EntryRefused):
        return False
    return True


@pytest.fixture(scope="module")
def client():
    return create_app().test_client()


@settings(LAW, max_examples=50)
@given(seed=SEEDS, ordered=st.booleans(), name=st.sampled_from(["status", "support"]))
def test_an_answer_is_the_same_whichever_way_lines_are_read(*, client, seed, ordered, name):
    # Without those that refuse the whole log, where there is no more to compare.
    lines = a_log(seed)
    if seed % 4:
        lines = [line for number, line in enumerate(lines) if is_taken(line, number)]
    result = {"id": "r-1", "instrument": "MA-07", "at": "2026-03-10T08:00:00Z"}
    head = {**HEAD, "sorted": ordered, "results": [result]}
    body = json.dumps(head).encode() + b"\n" + b"".join(lines)

    def answered():
        reply = client.post(
            f"/v1/logbook/{name}",
            data=body,
            headers={"Content-Type": "application/x-ndjson", "X-Request-ID": "1"},
        )
        return reply.status_code, reply.data

    quickly = answered()
    with patch.object(QuickLines, "read", lambda *_: None):
        assert answered() == quickly
