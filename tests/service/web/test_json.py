"""Bodies: what two programs could read differently is refused."""

import pytest
from werkzeug.test import EnvironBuilder
from werkzeug.wrappers import Request

from weighworthy_service.json_text import to_bytes
from weighworthy_service.profiles.refusal import Refusal
from weighworthy_service.web.json import MAX_BODY, parse, read_json


def refused(raw: bytes) -> str:
    with pytest.raises(Refusal) as caught:
        parse(raw)
    assert caught.value.slug == "malformed-json"
    return caught.value.detail


def request_with(body: bytes, **headers: str | None) -> Request:
    builder = EnvironBuilder(method="POST", data=body, content_type="application/json")
    environ = builder.get_environ()
    for name, value in headers.items():
        if value is None:
            environ.pop(name, None)
        else:
            environ[name] = value
    return Request(environ)


@pytest.mark.parametrize(
    ("raw", "says"),
    [
        (b"", "empty"),
        (b" \n", "empty"),
        (b"\xef\xbb\xbf{}", "byte order mark"),
        ("{}".encode("utf-16"), "not UTF-8"),
        (b'{"a": "\xff"}', "byte 7 is not UTF-8"),
        (b'{"a": "\xed\xa0\x80"}', "not UTF-8"),
        (b'{"a": NaN}', "NaN is not"),
        (b'{"a": -Infinity}', "-Infinity is not"),
        (b'{"a": 1, "a": 1}', "'a' occurs twice"),
        (b'{"b": {"\\u0061": 1, "a": 2}}', "'a' occurs twice"),
        (b'{"a": 1,}', "line 1, column 9"),
        (b'{"a":\n 01}', "line 2, column"),
        (b"{'a': 1}", "line 1, column 2"),
        (b'{"a": "\t"}', "line 1, column 8"),
        (b"{} {}", "line 1, column 4"),
        (b'"\\ud800"', "surrogate"),
        (b'{"\\udc00": 1}', "surrogate"),
        (b"[" * 33 + b"]" * 33, "deeper than 32"),
        (b'{"a":' * 33 + b"1" + b"}" * 33, "deeper than 32"),
        (b"[" * 500_000, "deeper than 32"),
        (b'{"a": ' + b"9" * 5000 + b"}", "too many digits"),
    ],
)
def test_refused(raw: bytes, says: str) -> None:
    assert says in refused(raw)


@pytest.mark.parametrize(
    ("raw", "value"),
    [
        (b' {"a": [1, 2.5, true, null, "\\u00fc"]} \n', {"a": [1, 2.5, True, None, "ü"]}),
        (b'"\\ud834\\udd1e"', "𝄞"),
        (b"[]", []),
        (b"0", 0),
    ],
)
def test_taken(raw: bytes, value: object) -> None:
    assert parse(raw) == value


def test_thirty_two_levels_are_taken() -> None:
    assert to_bytes(parse(b"[" * 32 + b"]" * 32)) == b"[" * 32 + b"]" * 32


def test_a_large_object_with_one_key_twice_is_refused_at_once() -> None:
    raw = b"{" + b",".join(b'"k%d":1' % i for i in range(80_000)) + b',"k79999":1}'
    assert "'k79999' occurs twice" in refused(raw)


@pytest.mark.parametrize(
    ("headers", "slug"),
    [
        ({"CONTENT_TYPE": "text/plain"}, "unsupported-media-type"),
        ({"CONTENT_TYPE": None}, "unsupported-media-type"),
        ({"CONTENT_TYPE": "application/merge-patch+json"}, "unsupported-media-type"),
        ({"CONTENT_TYPE": "application/json; charset=latin-1"}, "unsupported-media-type"),
        ({"HTTP_CONTENT_ENCODING": "gzip"}, "unsupported-media-type"),
        ({"CONTENT_LENGTH": None}, "length-required"),
        ({"HTTP_TRANSFER_ENCODING": "chunked"}, "length-required"),
        ({"CONTENT_LENGTH": str(MAX_BODY + 1)}, "too-large"),
        # Two bytes that are JSON on their own, but the sender announced a third.
        ({"CONTENT_LENGTH": "3"}, "malformed-json"),
    ],
)
def test_framing(headers: dict[str, str | None], slug: str) -> None:
    with pytest.raises(Refusal) as caught:
        read_json(request_with(b"{}", **headers))
    assert caught.value.slug == slug


@pytest.mark.parametrize(
    "content_type",
    ["application/json", "application/json; charset=UTF-8", 'Application/JSON; charset="utf-8"'],
)
def test_types_taken(content_type: str) -> None:
    assert read_json(request_with(b'{"a":1}', CONTENT_TYPE=content_type)) == {"a": 1}


def test_body_of_exactly_the_limit_is_taken() -> None:
    body = b'"' + b"x" * (MAX_BODY - 2) + b'"'
    assert len(read_json(request_with(body))) == MAX_BODY - 2


def test_documents_are_written_compact_in_utf_8() -> None:
    assert to_bytes({"b": "ü", "a": [1.5, None]}) == '{"b":"ü","a":[1.5,null]}'.encode()


def test_infinity_is_never_written() -> None:
    with pytest.raises(ValueError, match="JSON"):
        to_bytes({"a": float("inf")})
