"""What is refused before there is a request: problem documents, too."""

import json

import pytest
from jsonschema import Draft202012Validator

from weighworthy_service.web.document import document_bytes
from weighworthy_service.web.unread import refusal

DOCUMENT = json.loads(document_bytes())
PROBLEM = {"$ref": "#/components/schemas/Problem", "components": DOCUMENT["components"]}


@pytest.mark.parametrize(
    ("status", "title"),
    [(400, "Bad Request"), (414, "URI Too Long"), (431, "Request Header Fields Too Large")],
)
def test_a_whole_answer(status: int, title: str) -> None:
    head, _, body = refusal(status, title, 'too "long"\r\nX-Injected: 1').partition(b"\r\n\r\n")
    first, *headers = head.decode("ascii").split("\r\n")
    assert first == f"HTTP/1.1 {status} {title}"
    stated = dict(header.split(": ", 1) for header in headers)
    assert stated["Content-Type"] == "application/problem+json"
    assert stated["Connection"] == "close"
    assert stated["Content-Length"] == str(len(body))
    assert "X-Injected" not in stated
    told = json.loads(body)
    Draft202012Validator(PROBLEM).validate(told)
    # RFC 9457, 4.2.1: a problem that means no more than its status has this type, and its title.
    assert (told["type"], told["title"], told["status"]) == ("about:blank", title, status)
    assert told["request_id"] == stated["X-Request-Id"]


def test_what_a_client_sent_is_not_sent_back_at_length() -> None:
    body = refusal(400, "Bad Request", "x" * 100_000).partition(b"\r\n\r\n")[2]
    assert len(body) < 1000
