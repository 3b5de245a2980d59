"""Heavy requests on the server that production runs: refused, repeated by the client, let go."""

import http.client
import json
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
import requests

from weighworthy import Client
from weighworthy.errors import Overloaded
from weighworthy_service.checks.registry import KINDS

SPAN = next(kind for kind in KINDS if kind.slug == "span").example["request"]
JSON = {"Content-Type": "application/json"}


def side(revision: str, within: str) -> dict:
    rule = {"checks": ["span"], "limits": {"span_error": {"within": within}}}
    return {"profile": {"id": "kestrel", "revision": revision, "rules": [rule]}}


def comparison(number: int) -> dict:
    """Past checks of which each is judged twice."""
    times = (f"2026-03-16T08:{i // 60:02d}:{i % 60:02d}+01:00" for i in range(number))
    past = [{"check": "span", **SPAN, "performed_at": time} for time in times]
    return {"before": side("1", "5 mg"), "after": side("2", "4 mg"), "requests": past}


@pytest.fixture
def address(tmp_path: Path, serve: Callable[..., AbstractContextManager[Any]]) -> Iterator[str]:
    """One worker with one place for heavy requests and one thread beside it."""
    settings = {"WORKERS": "1", "THREADS": "3", "HEAVY": "1"}
    with serve(tmp_path, **{f"WEIGHWORTHY_{name}": v for name, v in settings.items()}) as (at, _):
        yield at


def reachable(address: str) -> bool:
    try:
        return requests.get(f"{address}/readyz", timeout=5, proxies={"http": ""}).ok
    except requests.ConnectionError:
        return False


def taken(address: str) -> bool:
    """Whether there is no room; a comparison of nothing is refused as invalid otherwise."""
    reply = requests.post(
        f"{address}/v1/profiles/compare", json={}, timeout=60, proxies={"http": ""}
    )
    assert reply.status_code in (422, 503)
    return reply.status_code == 503


def wait_until_taken(address: str) -> None:
    deadline = time.monotonic() + 60
    while not taken(address):
        assert time.monotonic() < deadline
        time.sleep(0.01)


def test_what_is_refused_for_want_of_room_is_repeated_by_the_client(address: str) -> None:
    answers: list[int] = []

    def compare() -> None:
        reply = requests.post(
            f"{address}/v1/profiles/compare",
            json=comparison(1500),
            timeout=120,
            proxies={"http": ""},
        )
        answers.append(reply.status_code)

    first = threading.Thread(target=compare)
    first.start()
    wait_until_taken(address)
    asked = comparison(1)
    with Client(address, retries=0) as once, pytest.raises(Overloaded) as caught:
        once.profiles.compare(
            asked["before"]["profile"], asked["after"]["profile"], requests=asked["requests"]
        )
    assert caught.value.status == 503

    # Beside it there is a thread for checks and probes, at once and not when the other has ended.
    with requests.Session() as session:
        session.trust_env = False
        assert session.get(f"{address}/livez", timeout=60).status_code == 200
        assert session.post(f"{address}/v1/checks/span", json=SPAN, timeout=60).status_code == 200
    assert answers == []

    with Client(address, retries=20, deadline=120) as patient:
        found = patient.profiles.compare(
            asked["before"]["profile"], asked["after"]["profile"], requests=asked["requests"]
        )
    assert found.verdicts["requests"] == 1
    first.join(120)
    assert answers == [200]


def test_a_client_that_goes_away_leaves_its_place(address: str) -> None:
    body = json.dumps(comparison(300)).encode()
    for _ in range(3):
        gone = http.client.HTTPConnection(urlsplit(address).netloc, timeout=60)
        gone.request("POST", "/v1/profiles/compare", body, JSON)
        wait_until_taken(address)
        gone.close()
        deadline = time.monotonic() + 60
        while taken(address):
            assert time.monotonic() < deadline
            time.sleep(0.05)


def test_a_body_that_never_comes_whole_leaves_its_place_when_the_client_goes(address: str) -> None:
    parts = urlsplit(address)
    with socket.create_connection((parts.hostname, parts.port), timeout=60) as slow:
        slow.sendall(
            f"POST /v1/profiles/compare HTTP/1.1\r\nHost: {parts.netloc}\r\n"
            "Content-Type: application/json\r\nContent-Length: 1000000\r\n\r\n{".encode()
        )
        wait_until_taken(address)
    deadline = time.monotonic() + 60
    while taken(address):
        assert time.monotonic() < deadline
        time.sleep(0.05)
    assert reachable(address)
