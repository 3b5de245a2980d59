"""Log, counts and spans of the server that production runs, with workers that come and go."""

import json
import os
import signal
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
import requests
from opentelemetry.proto.collector.trace.v1.trace_service_pb2 import ExportTraceServiceRequest
from opentelemetry.proto.trace.v1.trace_pb2 import Span
from prometheus_client.parser import text_string_to_metric_families

from weighworthy_service.checks.registry import BY_SLUG

SPAN = "/v1/checks/span"
TRACE, PARENT = "0af7651916cd43dd8448eb211c80319c", "b7ad6b7169203331"

pytestmark = pytest.mark.skipif(
    not Path("/proc/self/task").is_dir(), reason="finds workers through /proc"
)


@dataclass
class Collector:
    """Takes spans as a collector does (OTLP over HTTP), and keeps them."""

    spans: list[Span] = field(default_factory=list)
    names: set[str] = field(default_factory=set)

    def take(self, body: bytes) -> None:
        for of_resource in ExportTraceServiceRequest.FromString(body).resource_spans:
            for one in of_resource.resource.attributes:
                if one.key == "service.name":
                    self.names.add(one.value.string_value)
            for scope in of_resource.scope_spans:
                self.spans += scope.spans


@dataclass
class Server:
    address: str
    pid: int
    log: Path
    collector: Collector

    def workers(self) -> set[int]:
        return set(map(int, Path(f"/proc/{self.pid}/task/{self.pid}/children").read_text().split()))

    def ask(self, method: str, path: str, **kwargs: Any) -> requests.Response:
        """On a connection of its own, so that all workers take their turn."""
        return requests.request(
            method, self.address + path, timeout=30, proxies={"http": ""}, **kwargs
        )

    def counted(self, name: str, **labels: str) -> float:
        families = text_string_to_metric_families(self.ask("GET", "/metrics").text)
        return sum(
            sample.value
            for family in families
            for sample in family.samples
            if sample.name == name and labels.items() <= sample.labels.items()
        )


@pytest.fixture(scope="module")
def collector() -> Iterator[tuple[Collector, str]]:
    found = Collector()

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            found.take(self.rfile.read(int(self.headers["Content-Length"])))
            self.send_response(200)
            self.send_header("Content-Length", "0")
            self.end_headers()

        def log_message(self, *_args: Any) -> None:
            """Say nothing."""

    with ThreadingHTTPServer(("127.0.0.1", 0), Handler) as server:
        thread = threading.Thread(target=server.serve_forever)
        thread.start()
        yield found, f"http://127.0.0.1:{server.server_port}"
        server.shutdown()
        thread.join()


@pytest.fixture(scope="module")
def server(
    serve: Callable[..., AbstractContextManager[tuple[str, int]]],
    collector: tuple[Collector, str],
    tmp_path_factory: pytest.TempPathFactory,
) -> Iterator[Server]:
    folder = tmp_path_factory.mktemp("seen")
    found, endpoint = collector
    settings = {
        "WEIGHWORTHY_WORKERS": "2",
        "OTEL_EXPORTER_OTLP_ENDPOINT": endpoint,
        "OTEL_BSP_SCHEDULE_DELAY": "100",
    }
    with serve(folder, **settings) as (address, pid):
        running = Server(address, pid, folder / "log", found)
        yield running
        running.ask("GET", "/metrics").raise_for_status()
        (counts,) = {folder_of(worker) for worker in running.workers() if _has_counted(worker)}
        assert counts.is_dir()
    assert not counts.exists()


def wait_for(condition: Callable[[], Any], seconds: float = 20) -> None:
    until = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < until
        time.sleep(0.05)


def folder_of(pid: int) -> Path:
    """Where the worker keeps its counts, as the kernel sees it."""
    mapped = Path(f"/proc/{pid}/maps").read_text()
    (found,) = {
        Path(line.split()[-1]).parent for line in mapped.splitlines() if "/counter_" in line
    }
    return found


def test_counts_are_of_all_workers_and_outlive_them(server: Server) -> None:
    before = server.counted("weighworthy_checks_total", check="span")
    for _ in range(20):
        server.ask("POST", SPAN, json=BY_SLUG["span"].example["request"]).raise_for_status()
    # A request is counted once its answer is on its way.
    wait_for(lambda: server.counted("weighworthy_checks_total", check="span") == before + 20)
    requests_before = server.counted("weighworthy_requests_total", route=SPAN, status="200")
    for worker in server.workers():
        os.kill(worker, signal.SIGKILL)
        wait_for(lambda gone=worker: gone not in server.workers() and len(server.workers()) == 2)
        assert server.counted("weighworthy_checks_total", check="span") == before + 20
    now = server.counted("weighworthy_requests_total", route=SPAN, status="200")
    assert now == requests_before >= 20
    seconds = server.counted("weighworthy_request_seconds_count", route=SPAN)
    assert seconds == now
    (folder,) = {folder_of(worker) for worker in server.workers() if _has_counted(worker)}
    assert folder.stat().st_mode & 0o777 == 0o700
    # Of the two that are gone, one file each is left.
    assert len(list(folder.glob("counter_*"))) <= 3


def _has_counted(pid: int) -> bool:
    return "/counter_" in Path(f"/proc/{pid}/maps").read_text()


def test_a_reload_keeps_the_counts(server: Server) -> None:
    server.ask("POST", SPAN, json=BY_SLUG["span"].example["request"]).raise_for_status()
    time.sleep(0.5)  # a request is counted once its answer is on its way
    before, old = server.counted("weighworthy_checks_total"), server.workers()
    os.kill(server.pid, signal.SIGHUP)
    wait_for(lambda: not server.workers() & old and len(server.workers()) == 2)
    assert server.counted("weighworthy_checks_total") == before
    server.ask("POST", SPAN, json=BY_SLUG["span"].example["request"]).raise_for_status()
    wait_for(lambda: server.counted("weighworthy_checks_total") == before + 1)


def test_every_line_is_json_and_none_tells_a_key(server: Server) -> None:
    server.ask("GET", "/v1/info?key=secret-of-the-query", headers={"X-Request-Id": "kmf-line"})
    for head in (
        b"GET /v1/info HTTP/1.1\r\nHost: x\r\nAuthorization Bearer secret-of-a-head\r\n\r\n",
        b"secret-of-the-line\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: x\r\nAuthorization : secret-of-a-head\r\n\r\n",
        b"GET / HTTP/9.9-secret\r\nHost: x\r\n\r\n",
    ):
        with socket.create_connection(server.address[7:].split(":"), timeout=10) as raw:
            raw.sendall(head)
            assert raw.recv(1000).startswith(b"HTTP/1.1 400")
    written: list[dict[str, Any]] = []

    def all_there() -> bool:
        written[:] = [json.loads(line) for line in server.log.read_text().splitlines()]
        refused = sum("Invalid request" in line["event"] for line in written)
        return refused == 4 and any(line.get("request_id") == "kmf-line" for line in written)

    wait_for(all_there)
    assert "secret" not in server.log.read_text()
    (mine,) = [line for line in written if line.get("request_id") == "kmf-line"]
    assert (mine["route"], mine["status"]) == ("/v1/info", 200)
    assert {line["level"] for line in written if "Invalid" in line["event"]} == {"warning"}


def test_heads_that_are_refused_before_they_are_requests_are_counted(server: Server) -> None:
    before = server.counted("weighworthy_requests_total", route="unread", status="431")
    with socket.create_connection(server.address[7:].split(":"), timeout=10) as raw:
        raw.sendall(b"GET / HTTP/1.1\r\nX: " + b"x" * 70_000)
        assert raw.recv(1000).startswith(b"HTTP/1.1 431")
    assert server.counted("weighworthy_requests_total", route="unread", status="431") == before + 1


def test_spans_are_sent_with_the_trace_of_the_caller(server: Server) -> None:
    assert urlsplit(server.address).hostname == "127.0.0.1"
    headers = {"traceparent": f"00-{TRACE}-{PARENT}-01", "X-Request-Id": "kmf-traced"}
    server.ask("POST", SPAN, json=BY_SLUG["span"].example["request"], headers=headers)

    def found() -> list[Span]:
        return [span for span in server.collector.spans if span.trace_id.hex() == TRACE]

    wait_for(lambda: found() and "kmf-traced" in server.log.read_text())
    (span,) = found()
    assert span.parent_span_id.hex() == PARENT
    assert (span.name, span.kind) == (f"POST {SPAN}", Span.SPAN_KIND_SERVER)
    said = {one.key: one.value for one in span.attributes}
    assert set(said) == {"http.request.method", "http.route", "http.response.status_code"}
    assert said["http.response.status_code"].int_value == 200
    assert 0 < span.end_time_unix_nano - span.start_time_unix_nano < 60e9
    lines = [json.loads(line) for line in server.log.read_text().splitlines()]
    (mine,) = [line for line in lines if line.get("request_id") == "kmf-traced"]
    assert (mine["trace_id"], mine["span_id"]) == (TRACE, span.span_id.hex())
    assert server.collector.names == {"weighworthy"}
