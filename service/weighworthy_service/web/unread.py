"""Answers to what is no request, or does not become one: problem documents as all others are.

They mean no more than their status, so their type is about:blank (RFC 9457, 4.2.1). The application
never sees these; gunicorn would answer with a page.
"""

import uuid
from typing import Any, Final

from weighworthy_service.json_text import to_bytes

_PROBLEM: Final = "application/problem+json"
# Of what a client sent, which may stand in the detail.
_LONGEST: Final = 200
_FAILED: Final = 500


def refusal(status: int, title: str, detail: str) -> bytes:
    """A whole answer, after which the connection closes."""
    request_id = uuid.uuid4().hex
    document = {
        "type": "about:blank",
        "title": title,
        "status": status,
        "detail": detail[:_LONGEST],
        "errors": [],
        "request_id": request_id,
    }
    body = to_bytes(document)
    head = (
        f"HTTP/1.1 {status} {title}\r\nConnection: close\r\nContent-Type: {_PROBLEM}\r\n"
        f"X-Request-Id: {request_id}\r\nContent-Length: {len(body)}\r\n\r\n"
    )
    return head.encode("ascii") + body


class InOurForm:
    """A connection on which gunicorn tells an error: its page becomes a problem document."""

    def __init__(self, sock: Any, error: Exception) -> None:
        self._sock, self._error = sock, error

    def __getattr__(self, name: str) -> Any:
        return getattr(self._sock, name)

    def sendall(self, page: bytes) -> None:
        """Send the same status in our own form."""
        status, title = page.partition(b"\r\n")[0].decode("latin1").split(" ", 2)[1:]
        detail = title if int(status) >= _FAILED else str(self._error) or title
        self._sock.sendall(refusal(int(status), title, detail))
