import copy
import json
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

import pytest

# Typed by hand after the published form of an answer; the figures mean nothing.
ENVELOPE: dict[str, Any] = {
    "check": "span",
    "verdict": "fail",
    "verdict_as_found": "fail",
    "verdict_as_left": None,
    "verdict_if_valid": "fail",
    "usable": False,
    "criteria": [
        {
            "key": f"span_error[{index}]",
            "name": "span_error",
            "stage": "as-found",
            "index": index,
            "load": 50,
            "value": 0.0021,
            "unit": "g",
            "lower_limit": -0.002,
            "upper_limit": 0.002,
            "standard_uncertainty": 0.0003,
            "expanded_uncertainty": 0.0006,
            "coverage_factor": 2,
            "degrees_of_freedom": None,
            "conformance_probability": 0.25,
            "margin": -0.05,
            "distance": None,
            "tolerance_to_uncertainty": 3.33,
            "decision_rule": "simple",
            "verdict": "fail",
            "limit_source": "rule 1",
            "budget": [
                {
                    "source": "digitisation",
                    "distribution": "rectangular",
                    "standard_uncertainty": 0.0003,
                    "unit": "g",
                    "sensitivity": 1,
                    "contribution": 0.0003,
                    "degrees_of_freedom": None,
                }
            ],
        }
        for index in (0, 1)
    ]
    + [
        {
            "key": "span_agreement",
            "name": "span_agreement",
            "stage": None,
            "index": None,
            "load": None,
            "value": None,
            "unit": "g",
            "lower_limit": None,
            "upper_limit": None,
            "standard_uncertainty": None,
            "expanded_uncertainty": None,
            "coverage_factor": None,
            "degrees_of_freedom": None,
            "conformance_probability": None,
            "margin": None,
            "distance": None,
            "tolerance_to_uncertainty": None,
            "decision_rule": None,
            "verdict": None,
            "limit_source": None,
            "budget": [],
        }
    ],
    "results": {"rounds": [{"error": 0.0021, "count": 2}], "note": "text"},
    "findings": [
        {"code": "weak-ratio", "severity": "warning", "message": "A sentence.", "field": None}
    ],
    "profile": {"id": "general", "revision": "1", "digest": "sha256:00"},
    "engine": {"name": "weighworthy", "version": "0.1.0", "revision": 1},
    "request_digest": "sha256:11",
    "labels": {"run": "R-7"},
    "grown_later": {"figure": 0.1},
}


@pytest.fixture
def envelope() -> dict[str, Any]:
    return copy.deepcopy(ENVELOPE)


@pytest.fixture
def answer_bytes(envelope: dict[str, Any]) -> bytes:
    return json.dumps(envelope).encode()


Handle = Callable[[BaseHTTPRequestHandler, bytes], None]


@pytest.fixture
def serve() -> Callable[[Handle], Any]:
    """Runs a function as an HTTP server on loopback; gives its URL and the requests it saw."""

    @contextmanager
    def running(handle: Handle) -> Iterator[tuple[str, list[dict[str, str]]]]:
        seen: list[dict[str, str]] = []

        class Handler(BaseHTTPRequestHandler):
            protocol_version = "HTTP/1.1"

            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers.get("Content-Length", 0)))
                seen.append({"path": self.path, **dict(self.headers.items())})
                try:
                    handle(self, body)
                except (BrokenPipeError, ConnectionResetError):
                    self.close_connection = True  # the client has gone, as some tests want it to

            def do_GET(self) -> None:
                self.do_POST()

            def log_message(self, *_: object) -> None:
                return

        server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        server.daemon_threads = True
        server.block_on_close = False
        thread = threading.Thread(target=server.serve_forever, args=(0.02,), daemon=True)
        thread.start()
        try:
            yield f"http://127.0.0.1:{server.server_port}", seen
        finally:
            server.shutdown()
            server.server_close()
            thread.join()

    return running


@pytest.fixture
def reply() -> Callable[..., None]:
    """Writes one whole answer to a request handler."""

    def send(
        handler: BaseHTTPRequestHandler,
        body: bytes,
        status: int = 200,
        content_type: str = "application/json",
        **headers: str,
    ) -> None:
        handler.send_response(status)
        handler.send_header("Content-Type", content_type)
        handler.send_header("Content-Length", str(len(body)))
        for name, value in headers.items():
            handler.send_header(name.replace("_", "-"), value)
        handler.end_headers()
        handler.wfile.write(body)

    return send
