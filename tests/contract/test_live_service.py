"""The server that production runs, on a socket: framing, two workers, connections kept."""

import http.client
import os
import re
import socket
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
import requests

from weighworthy_service.checks.registry import KINDS

ROOT = Path(__file__).parents[2]
SPAN = "/v1/checks/span"


@pytest.fixture
def session() -> Iterator[requests.Session]:
    with requests.Session() as opened:
        opened.trust_env = False
        yield opened


@pytest.fixture
def connection(live_service: str) -> Iterator[http.client.HTTPConnection]:
    opened = http.client.HTTPConnection(urlsplit(live_service).netloc, timeout=30)
    yield opened
    opened.close()


def exchange(
    connection: http.client.HTTPConnection, method: str, path: str, **kwargs: Any
) -> tuple[int, bytes, http.client.HTTPResponse]:
    connection.request(method, path, **kwargs)
    response = connection.getresponse()
    return response.status, response.read(), response


def test_same_bytes_from_every_worker(live_service: str) -> None:
    for kind in KINDS:
        said = set()
        for _ in range(12):
            # A connection of its own each time, so that both workers take their turn.
            response = requests.post(
                f"{live_service}/v1/checks/{kind.slug}",
                json=kind.example["request"],
                timeout=30,
                proxies={"http": ""},
            )
            assert response.status_code == 200
            said.add(response.content)
        assert len(said) == 1


def test_a_body_in_chunks_is_refused_and_never_cut(
    live_service: str, session: requests.Session
) -> None:
    response = session.post(
        live_service + SPAN,
        data=iter([b'{"a":', b" " * 2_000_000, b"1}"]),
        headers={"Content-Type": "application/json"},
        timeout=30,
    )
    assert response.status_code == 411
    assert response.json()["type"] == "/problems/length-required"


def test_ten_megabytes_are_refused(live_service: str, session: requests.Session) -> None:
    response = session.post(
        live_service + SPAN,
        data=b"x" * 10 * 1024 * 1024,
        headers={"Content-Type": "application/json"},
        timeout=30,
    )
    assert response.status_code == 413
    assert response.json()["type"] == "/problems/too-large"


def test_an_announced_size_is_refused_before_anything_is_sent(live_service: str) -> None:
    parts = urlsplit(live_service)
    with socket.create_connection((parts.hostname, parts.port), timeout=30) as raw:
        raw.sendall(
            f"POST {SPAN} HTTP/1.1\r\nHost: {parts.netloc}\r\nContent-Type: application/json\r\n"
            "Content-Length: 10000000000\r\n\r\n".encode()
        )
        assert raw.recv(12) == b"HTTP/1.1 413"


def test_connection_is_kept_after_refusals(connection: http.client.HTTPConnection) -> None:
    json = {"Content-Type": "application/json"}
    status, _, first = exchange(connection, "POST", SPAN, body=b"{", headers=json)
    assert status == 400
    assert exchange(connection, "POST", SPAN, body=b"{}", headers=json)[0] == 422
    assert exchange(connection, "GET", "/nothing")[0] == 404
    assert exchange(connection, "GET", SPAN)[0] == 405
    assert exchange(connection, "POST", SPAN, body=b"{}")[0] == 415
    status, body, last = exchange(connection, "GET", "/livez")
    assert (status, body) == (200, b'{"status":"ok"}')
    assert first.headers["Connection"] == last.headers["Connection"] == "keep-alive"


def test_head_and_options(connection: http.client.HTTPConnection) -> None:
    status, body, head = exchange(connection, "HEAD", "/v1/info")
    assert (status, body) == (200, b"")
    assert int(head.headers["Content-Length"]) > 0
    status, body, options = exchange(connection, "OPTIONS", SPAN)
    assert (status, body) == (200, b"")
    assert set(options.headers["Allow"].split(", ")) == {"POST", "OPTIONS"}


def test_a_proxy_on_this_machine_opens_nothing(connection: http.client.HTTPConnection) -> None:
    for header in ("Forwarded", "X-Forwarded-For", "X-Real-IP", "Via"):
        assert exchange(connection, "GET", "/v1/info", headers={header: "127.0.0.1"})[0] == 401


@pytest.mark.parametrize(
    "settings",
    [
        {},
        {"WEIGHWORTHY_ANONYMOUS": "maybe"},
        {"WEIGHWORTHY_KEYS_FILE": "/nonexistent/keys"},
        {"WEIGHWORTHY_ANONYMOUS": "loopback", "WEIGHWORTHY_WORKERS": "many"},
    ],
)
def test_it_does_not_start_without_a_decision_on_who_may_ask(settings: dict[str, str]) -> None:
    environment = {k: v for k, v in os.environ.items() if not k.startswith("WEIGHWORTHY_")}
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        environment["WEIGHWORTHY_BIND"] = f"127.0.0.1:{free.getsockname()[1]}"
    ended = subprocess.run(
        [sys.executable, "-m", "gunicorn", "-c", "service/gunicorn.conf.py"],
        cwd=ROOT,
        env={**environment, **settings},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert ended.returncode == 2
    assert ended.stderr.startswith("weighworthy does not start: ")
    assert "WEIGHWORTHY_" in ended.stderr or "key file" in ended.stderr
    assert "Traceback" not in ended.stderr


@pytest.mark.parametrize(
    ("settings", "told"),
    [
        ({"WEIGHWORTHY_BIND": "unix:{folder}/none/socket"}, r"no folder {folder}/none"),
        ({"WEIGHWORTHY_BIND": "unix:{folder}/file"}, r"{folder}/file is there and is no socket"),
        ({"GUNICORN_CMD_ARGS": "--bind 0.0.0.0:80"}, r"GUNICORN_CMD_ARGS is set"),
    ],
)
def test_what_cannot_be_is_told_at_once(tmp_path: Path, settings: Any, told: str) -> None:
    """Not after gunicorn has tried again for a quarter of a minute, or with other settings."""
    (tmp_path / "file").touch()
    stated = {name: value.format(folder=tmp_path) for name, value in settings.items()}
    environment = {**os.environ, "WEIGHWORTHY_ANONYMOUS": "loopback", **stated}
    environment.pop("WEIGHWORTHY_KEYS_FILE", None)
    ended = subprocess.run(
        [sys.executable, "-m", "gunicorn", "-c", "python:weighworthy_service.web.server"],
        env=environment,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert ended.returncode == 2, ended.stderr
    assert re.search(told.format(folder=re.escape(str(tmp_path))), ended.stderr), ended.stderr
    assert "Retrying" not in ended.stderr
