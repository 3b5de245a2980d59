"""Lines of check requests: each is the merge patch of what the first line has for all."""

import io
import json
import time
from copy import deepcopy
from hashlib import sha256
from typing import Any

import pytest
import rfc8785

from weighworthy_service.checks.registry import KINDS
from weighworthy_service.checks.terms import ProfileIdentity
from weighworthy_service.profiles.finding import built_in
from weighworthy_service.profiles.refusal import Refusal
from weighworthy_service.tables.finder import AtHand
from weighworthy_service.tables.line_requests import merged
from weighworthy_service.tables.ndjson import judge_lines, open_lines
from weighworthy_service.tables.outcome import Answered, Counts, Refused, RowOutcome, Skipped
from weighworthy_service.tables.quick import Judge
from weighworthy_service.tables.table_section import TableLimits

LOSS = KINDS[2].example["request"]


def loss(**more: Any) -> dict[str, Any]:
    return {"check": "simulated-loss", **deepcopy(LOSS), **more}


def digest_of(request: dict[str, Any]) -> str:
    """By the library for RFC 8785, of a request without nulls."""
    asked = {name: value for name, value in request.items() if name != "labels"}
    return "sha256:" + sha256(rfc8785.dumps(asked)).hexdigest()


def made(_: Any, profile: ProfileIdentity) -> ProfileIdentity:
    return profile


def outcomes(
    *lines: Any, end: bytes = b"\n", limits: TableLimits | None = None, profile: Any = None
) -> list[RowOutcome]:
    written = [line if isinstance(line, bytes) else json.dumps(line).encode() for line in lines]
    opened = open_lines(io.BytesIO(b"\n".join(written) + end), limits or TableLimits())
    counts = Counts()
    found = list(
        judge_lines(opened, Judge(AtHand(built_in()), made, digests=True), profile, counts)
    )
    assert counts.rows_in == len(found)
    return found


@pytest.mark.parametrize(
    ("target", "patch", "result"),
    [  # RFC 7396, appendix A
        ({"a": "b"}, {"a": "c"}, {"a": "c"}),
        ({"a": "b"}, {"b": "c"}, {"a": "b", "b": "c"}),
        ({"a": "b"}, {"a": None}, {}),
        ({"a": "b", "b": "c"}, {"a": None}, {"b": "c"}),
        ({"a": ["b"]}, {"a": "c"}, {"a": "c"}),
        ({"a": "c"}, {"a": ["b"]}, {"a": ["b"]}),
        ({"a": {"b": "c"}}, {"a": {"b": "d", "c": None}}, {"a": {"b": "d"}}),
        ({"a": [{"b": "c"}]}, {"a": [1]}, {"a": [1]}),
        (["a", "b"], ["c", "d"], ["c", "d"]),
        ({"a": "b"}, ["c"], ["c"]),
        ({"a": "foo"}, None, None),
        ({"a": "foo"}, "bar", "bar"),
        ({"e": None}, {"a": 1}, {"e": None, "a": 1}),
        ([1, 2], {"a": "b", "c": None}, {"a": "b"}),
        ({}, {"a": {"bb": {"ccc": None}}}, {"a": {"bb": {}}}),
    ],
)
def test_merge_patch_of_rfc_7396(target: Any, patch: Any, result: Any) -> None:
    before = deepcopy(target)
    assert merged(target, patch) == result
    assert target == before


def test_a_patch_of_defaults_is_the_merged_document() -> None:
    """A weight is replaced by one of nominal value, a member is removed, another added."""
    defaults = loss(method="rapid")
    patch = {
        "method": None,
        "labels": {"run": "7"},
        "final": {"indication": "10.003 g"},
        "weights": {"KM-31": {"drift": None}},
    }
    (found,) = outcomes({"defaults": defaults}, patch)
    assert isinstance(found, Answered)
    by_hand = loss()
    by_hand["labels"] = {**LOSS["labels"], "run": "7"}
    by_hand["final"]["indication"] = "10.003 g"
    del by_hand["weights"]["KM-31"]["drift"]
    assert found.found.digest == digest_of(by_hand)
    assert found.rows == (2,)


def test_defaults_are_not_changed_by_the_lines_before() -> None:
    found = outcomes({"defaults": loss()}, {"weights": {"KM-32": None}}, {})
    first, second = found
    assert isinstance(first, Refused)
    assert [e.code for e in first.errors] == ["weight-not-declared"]
    assert isinstance(second, Answered)
    assert second.found.digest == digest_of(loss())


def test_faults_of_lines_leave_the_other_lines_alone() -> None:
    found = outcomes(
        loss(),
        b"{",
        b'{"check": "simulated-loss", "check": "span"}',
        b"",
        b"\xff",
        [1],
        {"check": "simulated-los"},
        {},
        loss(profile="unheard-of"),
        b'{"check": "simulated-loss"}\r',
        loss(),
    )
    said = [(type(one).__name__, getattr(one, "slug", None)) for one in found]
    assert said == [
        ("Answered", None),
        ("Refused", "malformed-json"),
        ("Refused", "malformed-json"),
        ("Skipped", None),
        ("Refused", "malformed-json"),
        ("Refused", "invalid"),
        ("Refused", "invalid"),
        ("Refused", "invalid"),
        ("Refused", "profile-not-usable"),
        ("Refused", "invalid"),
        ("Answered", None),
    ]
    assert "simulated-loss" in found[6].detail  # type: ignore[union-attr]
    assert [one.rows[0] for one in found if not isinstance(one, Skipped)] == [
        *range(1, 4),
        *range(5, 12),
    ]
    assert all(e.where.row == 9 for e in found[8].errors)  # type: ignore[union-attr]


def test_labels_come_back_with_a_refusal() -> None:
    (found,) = outcomes({"check": "span", "labels": {"order": "V-1", "odd": 3}})
    assert isinstance(found, Refused)
    assert found.labels == {"order": "V-1"}


def test_the_end_of_the_last_line_may_lack() -> None:
    assert len(outcomes(loss(), loss(), end=b"")) == 2


@pytest.mark.parametrize("body", [b"", b"\n", b" ", b"\r\n \t\r\n\n", b" " * 5000])
def test_a_body_of_nothing_is_refused(body: bytes) -> None:
    """It holds no check, and stands for a file that was lost on its way; like a CSV file of it."""
    with pytest.raises(Refusal) as caught:
        outcomes(body, end=b"", limits=TableLimits(line=4000))
    assert caught.value.slug == "table-not-usable"
    assert [error.code for error in caught.value.errors] == ["table-empty"]


def test_defaults_without_a_line_are_a_batch_of_no_checks() -> None:
    """As a header without a row is: whoever sends them has not lost the file."""
    assert outcomes({"defaults": loss()}) == []


@pytest.mark.parametrize("name", ["Defaults", "default", "defaults ", "DEFAULTS", "\u200bdefaults"])
def test_a_first_line_that_nearly_holds_defaults_is_refused(name: str) -> None:
    """Otherwise all the rest would be judged without them."""
    with pytest.raises(Refusal) as caught:
        outcomes({name: {"profile": "none"}}, loss())
    assert caught.value.slug == "invalid"
    assert 'did you mean "defaults"' in caught.value.errors[0].detail


RULES = {"id": "kestrel", "revision": "1", "rules": [{"limits": {"loss_error": {"within": "1 %"}}}]}


def test_changes_of_a_common_profile_are_read_up_to_some_number() -> None:
    """Each would have all of the profile read again: a line of 30 bytes that costs 50 ms."""
    patches = [{"profile": {"id": f"kestrel-{number % 65}"}} for number in range(130)]
    found = outcomes({"defaults": loss(profile=RULES)}, *patches, {})
    refused = [place for place, one in enumerate(found) if isinstance(one, Refused)]
    assert refused == [64, 129]
    assert found[64].errors[0].pointer == "/profile"  # type: ignore[union-attr]
    assert found[64].errors[0].code == "too-many"  # type: ignore[union-attr]
    assert found[0].found.made.id == found[65].found.made.id == "kestrel-0"  # type: ignore[union-attr]
    assert found[130].found.made.id == "kestrel"  # type: ignore[union-attr]


def test_bad_lines_that_repeat_are_read_once() -> None:
    """500 weights in the defaults would be read again with each of 5,000 lines of three bytes."""
    weights = {f"W{number}": {"nominal": "1 g", "weight_class": "OIML F1"} for number in range(498)}
    defaults = loss()
    defaults["weights"] = {**weights, **defaults["weights"]}
    del defaults["initial"]
    begin = time.thread_time()
    found = outcomes({"defaults": defaults}, *[{}] * 5_000, b"{ }")
    assert time.thread_time() - begin < 2.0  # read each time: more than 6 s
    assert [one.rows for one in found] == [(row,) for row in range(2, 5_003)]  # type: ignore[union-attr]
    errors = {one.errors[0].where.row for one in found}  # type: ignore[union-attr]
    assert errors == set(range(2, 5_003))
    assert len({(one.slug, one.detail) for one in found}) == 1  # type: ignore[union-attr]
    assert isinstance(outcomes({}, b"")[1], Skipped)


def test_a_line_at_the_limit_is_read_and_one_beyond_refused() -> None:
    whole = json.dumps(loss()).encode()
    limits = TableLimits(line=len(whole))
    longer = [b" " + whole, b"x" * 10 * len(whole)]
    found = outcomes(whole, *longer, whole, whole + b" ", whole, limits=limits, end=b"")
    assert [type(one) for one in found] == [Answered, Refused, Refused, Answered, Refused, Answered]
    assert {one.slug for one in found if isinstance(one, Refused)} == {"too-large"}


def test_too_many_lines_are_refused_as_a_whole() -> None:
    limits = TableLimits(rows=3)
    assert len(outcomes(*[b"{}"] * 3, limits=limits)) == 3
    with pytest.raises(Refusal) as caught:
        outcomes(*[b"{}"] * 4, limits=limits)
    assert [e.code for e in caught.value.errors] == ["too-many-rows"]


@pytest.mark.parametrize(
    ("first", "slug"),
    [
        (b"\xef\xbb\xbf{}", "malformed-json"),
        ({"defaults": []}, "invalid"),
        ({"defaults": {}, "profile": "x"}, "invalid"),
    ],
)
def test_a_first_line_that_cannot_be_meant_is_refused_as_a_whole(first: Any, slug: str) -> None:
    with pytest.raises(Refusal) as caught:
        outcomes(first, loss())
    assert caught.value.slug == slug


def test_blank_lines_may_stand_before_the_defaults() -> None:
    (found,) = outcomes(b"", b" \r", {"defaults": loss()}, {})
    assert isinstance(found, Answered)
    assert found.rows == (4,)


@pytest.mark.parametrize(
    ("lines", "slug"),
    [
        ([b'{"defaults": {"method": "a",}}'], "malformed-json"),
        ([b"{", b'"defaults": {"method": "a"}', b"}"], "malformed-json"),
        ([b'[{"defaults": {"method": "a"}}]'], "invalid"),
        ([b"defaults"], "malformed-json"),
        ([b'{"defaults": {"method": "a", "method": "b"}}'], "malformed-json"),
        ([b"", b'{"defaults": {"method": "a"'], "malformed-json"),
        ([b'{"defaults": {"method": "' + b"x" * 5000 + b'"}}'], "too-large"),
        ([b"{}", b'{"defaults": {"method": "a"}}'], "invalid"),
        ([b'{"defaults": {}}', b"{}", b' { "defaults" : {}}'], "invalid"),
    ],
)
def test_defaults_that_are_not_read_are_never_passed_over(lines: list[bytes], slug: str) -> None:
    """The other lines would be judged without them: a fail could become a pass."""
    with pytest.raises(Refusal) as caught:
        outcomes(*lines, loss(), limits=TableLimits(line=4000))
    assert caught.value.slug == slug


@pytest.mark.parametrize("before", range(256 * 1024 - 40, 256 * 1024 + 4))
def test_a_second_line_of_defaults_is_seen_wherever_the_text_is_cut(before: int) -> None:
    filler = b'{"check": "' + b"x" * (before - 13) + b'"}'
    with pytest.raises(Refusal, match="belongs first"):
        outcomes(filler, b'{"defaults": {}}')


def test_what_is_of_one_check_is_refused_among_the_defaults() -> None:
    weights = {f"W{i}": {"nominal": "1 g"} for i in range(501)}
    series = [{"at": "30 s", "indication": "12 g"}]
    with pytest.raises(Refusal) as caught:
        outcomes({"defaults": {"weights": weights, "series": series}}, {})
    assert [(e.pointer, e.code) for e in caught.value.errors] == [
        ("/defaults/weights", "too-many"),
        ("/defaults/series", "contradiction"),
    ]


RULE = {"limits": {"loss_error": {"within": "1 %"}}}


def test_the_profile_of_the_line_comes_before_defaults_before_that_of_the_batch() -> None:
    of_batch = {"id": "a", "revision": "1", "title": "A", "rules": [RULE]}
    found = outcomes(
        {"defaults": {"profile": {"id": "b", "revision": "1", "rules": [RULE]}}},
        loss(profile={"id": "c"}),
        loss(),
        loss(profile=None),
        profile=of_batch,
    )
    # The first is a patch of the profile of the defaults, of which only its id is new.
    judged = [one.found.made.id for one in found if isinstance(one, Answered)]
    assert judged == ["c", "b", "a"]
    of_line = {"id": "d", "revision": "1", "rules": [RULE]}
    (alone,) = outcomes(loss(profile=of_line), profile=of_batch)
    assert isinstance(alone, Answered)
    assert alone.found.digest == digest_of(loss(profile=of_line))


def test_lines_that_leave_the_weights_of_the_defaults_alone_have_them_read_once() -> None:
    """Bad lines, no two alike; and good ones are judged as if each had said it all."""
    defaults = loss()
    weights = {f"W{number}": {"nominal": "1 g", "weight_class": "OIML F1"} for number in range(498)}
    defaults["weights"] = {**weights, **defaults["weights"]}
    good = {"method": "rapid"}
    bad = [{"final": {"indication": f"{number}e-3 g"}} for number in range(600)]
    begin = time.thread_time()
    first, *found = outcomes({"defaults": defaults}, good, *bad)
    each = (time.thread_time() - begin) / 600
    begin = time.thread_time()
    (alone,) = outcomes(merged(defaults, bad[0]))
    assert each < (time.thread_time() - begin) / 3
    assert isinstance(first, Answered)
    assert first.found.digest == digest_of({**defaults, **good})
    assert {one.slug for one in found} == {"invalid"}  # type: ignore[union-attr]
    assert found[0].detail == alone.detail  # type: ignore[union-attr]
    changed = {"weights": {"W3": {"nominal": "1 kilo"}}}
    last = outcomes({"defaults": defaults}, good, changed, good)
    assert [type(one) for one in last] == [Answered, Refused, Answered]
