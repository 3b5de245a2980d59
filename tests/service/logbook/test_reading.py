"""Entries as they come: read plainly or by the form, judged anew or trusted, or refused."""

from datetime import UTC, datetime
from typing import Any

import pytest

from weighworthy_service.checks.registry import BY_SLUG
from weighworthy_service.logbook.reading import EntryReader, EntryRefused
from weighworthy_service.profiles.finding import built_in, find_profile
from weighworthy_service.profiles.judging import judge

AT = "2026-03-02T07:10:00+01:00"
ANSWER = {"check": "span", "verdict": "pass", "verdict_as_found": "pass", "usable": True}
CHECK = {"id": "c-1", "kind": "check", "at": AT, "instrument": "MA-07", "answer": ANSWER}


def reader(profile: Any = None) -> EntryReader:
    return EntryReader(
        lambda kind, document: judge(
            kind, document, lambda asked, on: find_profile(asked, built_in(), on)
        ),
        ("pass", "conditional-pass"),
        profile,
    )


def refused(document: Any) -> list[tuple[str, str]]:
    with pytest.raises(EntryRefused) as caught:
        reader().read(document)
    return [(error.pointer, error.code) for error in caught.value.errors]


def request_of(slug: str, **more: Any) -> dict[str, Any]:
    return {**BY_SLUG[slug].example["request"], "check": slug, **more}


@pytest.mark.parametrize(
    "more",
    [
        {},
        {"by": "A. Brook", "note": "early shift"},
        {"answer": {**ANSWER, "verdict_as_found": None}},
        {"answer": {**ANSWER, "verdict": "void", "verdict_if_valid": "fail", "usable": False}},
        {"answer": {**ANSWER, "verdict_as_found": "fail"}},
        {"answer": {**ANSWER, "verdict": None, "usable": None, "criteria": [{"name": "x"}]}},
        {"answer": {**ANSWER, "more": "that a later version says"}},
        {"at": "2026-03-02T06:10:00.5Z"},
    ],
)
def test_a_plain_check_is_read_as_the_form_reads_it(
    more: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    document = {**CHECK, **more}
    plain = reader().read(document, "/entries/0")
    monkeypatch.setattr(EntryReader, "_plain", lambda *_: None)
    assert reader().read(document, "/entries/0") == plain


def test_what_is_odd_is_told_by_the_form() -> None:
    assert refused({**CHECK, "by": 3}) == [("/by", "wrong-type")]
    assert refused({**CHECK, "at": "2026-03-02T07:10:00"}) == [("/at", "offset-missing")]
    assert refused({**CHECK, "answr": 1}) == [("/answr", "unknown-field")]
    assert refused({**CHECK, "id": ""}) == [("/id", "too-short")]
    assert refused([]) == [("", "wrong-type")]


@pytest.mark.parametrize(
    ("answer", "code"),
    [
        ({**ANSWER, "check": "spam"}, "not-one-of"),
        ({"check": "span", "usable": True}, "required"),
        ({"check": "span", "verdict": "pass", "usable": True}, "required"),
        ({"check": "span", "verdict": "pass", "verdict_as_found": "pass"}, "required"),
        ({**ANSWER, "verdict": "fail"}, "contradiction"),
        ({**ANSWER, "verdict": "void"}, "contradiction"),
        ({**ANSWER, "verdict": None}, "contradiction"),
        ({**ANSWER, "profile": "strict@1"}, "wrong-type"),
        ({**ANSWER, "verdict": "ok"}, "not-one-of"),
        ({**ANSWER, "verdict": ["pass"]}, "not-one-of"),
        ({**ANSWER, "usable": 1}, "wrong-type"),
        ({**ANSWER, "criteria": {}}, "wrong-type"),
        ({**ANSWER, "results": []}, "wrong-type"),
        ("pass", "wrong-type"),
    ],
)
def test_an_answer_that_is_none_is_refused(answer: Any, code: str) -> None:
    assert refused({**CHECK, "answer": answer}) == [("/answer", code)]


def test_what_is_kept_of_short_answers_lets_nothing_pass_that_is_not_taken() -> None:
    reading = reader()
    assert reading.read(CHECK).said == reading.read({**CHECK, "id": "c-2"}).said
    for usable in (1, 1.0, "true"):
        with pytest.raises(EntryRefused):
            reading.read({**CHECK, "answer": {**ANSWER, "usable": usable}})
    odd = {**ANSWER, "labels": {"a": ["b"]}}
    assert reading.read({**CHECK, "answer": odd}).said == reading.read(CHECK).said
    assert reading.trusted == 4


def test_of_the_time_before_only_what_was_read_as_found_speaks() -> None:
    def found(**more: Any) -> bool | None:
        said = reader().read({**CHECK, "answer": {**ANSWER, **more}}).said
        assert said is not None
        return said.lets_use_as_found

    assert found() is True
    assert found(verdict_as_found="fail") is False
    assert found(verdict_as_found="conditional-pass") is True
    assert found(verdict_as_found=None) is None
    assert found(verdict_as_found="void") is None
    assert found(verdict="fail", verdict_as_found="fail", usable=False) is False


def test_a_gap_in_the_rounds_is_an_adjustment() -> None:
    request = request_of("span")
    rounds = request["rounds"]
    whole = reader().read({"id": "1", "kind": "check", "request": request})
    adjusted = {
        **request,
        "rounds": [rounds[0], {"stage": "adjustment"}, rounds[1] | {"stage": "as-left"}],
    }
    cut = reader().read({"id": "1", "kind": "check", "request": adjusted})
    assert whole.said is not None
    assert cut.said is not None
    assert (whole.said.adjusted, cut.said.adjusted) == (False, True)
    unread = {**request, "rounds": [rounds[0], {"stage": "adjustment"}]}
    last = reader().read({"id": "1", "kind": "check", "request": unread})
    assert last.said is not None
    assert last.said.adjusted


@pytest.mark.parametrize(
    ("more", "adjusted"),
    [
        ({}, False),
        ({"verdict_as_left": "pass"}, False),
        ({"verdict_as_found": "fail"}, True),
        ({"verdict_as_found": "fail", "verdict_as_left": "pass"}, True),
        ({"verdict_as_found": None}, True),
        ({"results": {"rounds": [{"index": 0}, {"index": 1}]}}, False),
        ({"results": {"rounds": [{"index": 0}, {"index": 2}]}}, True),
        ({"results": {"rounds": [{"index": 0}]}, "verdict_as_left": None}, True),
    ],
)
def test_what_of_a_trusted_answer_shows_an_adjustment(more: dict[str, Any], adjusted: bool) -> None:
    said = reader().read({**CHECK, "answer": {**ANSWER, **more}}).said
    assert said is not None
    assert said.adjusted is adjusted


def test_a_request_is_judged_anew_and_completes_its_entry() -> None:
    reading = reader()
    entry = reading.read({"id": "c-2", "kind": "check", "request": request_of("span")})
    assert entry.at == datetime(2026, 3, 16, 6, 40, tzinfo=UTC)
    assert (entry.instrument, entry.by) == ("MA-07", "A. Brook")
    assert entry.said is not None
    assert (entry.said.trusted, entry.said.verdict) == (False, "pass")
    assert entry.said.weights_due == {"KM-20": "2028-02-11"}
    assert (reading.judged_anew, reading.trusted) == (1, 0)


def test_an_entry_and_its_request_must_not_differ() -> None:
    entry = {"id": "c-2", "kind": "check", "request": request_of("span")}
    # The same moment, written with another offset, is no difference.
    assert reader().read({**entry, "at": "2026-03-16T06:40:00Z"}).by == "A. Brook"
    assert refused({**entry, "at": AT, "instrument": "MA-08", "by": "B. Ash"}) == [
        ("/at", "contradiction"),
        ("/by", "contradiction"),
        ("/instrument", "contradiction"),
    ]


def test_faults_of_a_request_have_pointers_into_the_entry() -> None:
    bare = request_of("span")
    bare["instrument"] = {"id": "MA-07", "scale_interval": 1}
    assert refused({"id": "1", "kind": "check", "request": bare}) == [
        ("/request/instrument/scale_interval", "unit-missing")
    ]
    entry = {"id": "1", "kind": "check", "request": request_of("span", check="spann")}
    assert refused(entry) == [("/request/check", "not-one-of")]


def test_a_request_without_profile_is_judged_by_that_of_the_logbook() -> None:
    strict = {
        "id": "strict",
        "revision": "1",
        "rules": [{"checks": ["span"], "limits": {"span_error": {"within": "1 mg"}}}],
    }
    entry = {"id": "1", "kind": "check", "request": request_of("span")}
    said = reader(strict).read(entry).said
    assert said is not None
    assert said.verdict == "fail"


def test_each_kind_has_what_belongs_to_it() -> None:
    base = {"id": "1", "at": AT, "instrument": "MA-07"}
    assert refused({**base, "kind": "check"}) == [("/request", "required")]
    both = {**CHECK, "request": request_of("span")}
    assert ("/request", "contradiction") in refused(both)
    assert refused({**base, "kind": "move", "answer": ANSWER}) == [("/answer", "contradiction")]
    assert refused({"id": "1", "kind": "move"}) == [
        ("/at", "required"),
        ("/instrument", "required"),
    ]
    decided = {"results": ["r-1"], "cause": "x", "outcome": "stands", "reason": "y"}
    assert refused({**base, "kind": "assessment", "assessment": decided}) == [("/by", "required")]
    assert refused({**base, "kind": "move", "assessment": decided}) == [
        ("/assessment", "contradiction")
    ]
    for name in decided:
        less = {key: value for key, value in decided.items() if key != name}
        entry = {**base, "kind": "assessment", "by": "Q. Ward", "assessment": less}
        assert refused(entry) == [(f"/assessment/{name}", "required")]


def test_a_kind_without_stages_has_no_adjustment_in_its_course() -> None:
    void = {**ANSWER, "check": "simulated-loss", "verdict": "void", "usable": None}
    answer = {**void, "verdict_as_found": None, "verdict_as_left": "void"}
    said = reader().read({**CHECK, "answer": answer}).said
    assert said is not None
    assert not said.adjusted
    span = reader().read({**CHECK, "answer": {**answer, "check": "span"}}).said
    assert span is not None
    assert span.adjusted
