"""The client against the server that production runs, on a free loopback port."""

import hashlib
import os
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
import requests

from weighworthy import Client, Invalid, KeyMissing, KeyNotAllowed

ROOT = Path(__file__).parents[2]
CONFIG = ROOT / "service" / "gunicorn.conf.py"

# An invented site of the invented Kestrel Mill Foods.
INSTRUMENT = {
    "id": "MA-1",
    "site": "valley",
    "capacity": "120 g",
    "scale_interval": "0.001 g",
    "repeatability": "0.0008 g",
    "repeatability_observations": 10,
}
WEIGHTS = {
    "W50": {"nominal": "50 g", "weight_class": "OIML F1"},
    "W20": {"nominal": "20 g", "weight_class": "OIML F1"},
}
REQUESTS: dict[str, dict[str, Any]] = {
    "span": {"rounds": [{"load": ["W50"], "zero": "0.000 g", "indication": "50.001 g"}]},
    "linearity": {
        "points": [
            {"load": load, "zero": "0.000 g", "indication": indication}
            for load, indication in [
                (["W20"], "20.001 g"),
                (["W50"], "50.001 g"),
                (["W20", "W50"], "70.002 g"),
            ]
        ]
    },
    "simulated-loss": {
        "initial": {"load": ["W20", "W50"], "indication": "70.001 g"},
        "final": {"load": ["W50"], "indication": "50.001 g"},
    },
}
for _request in REQUESTS.values():
    _request |= {"instrument": INSTRUMENT, "weights": WEIGHTS, "labels": {"note": "José"}}


@contextmanager
def running(folder: Path, workers: int, **settings: str) -> Iterator[tuple[str, Path]]:
    """The server with its production settings; gives its URL and a file of answering processes."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        address = f"127.0.0.1:{free.getsockname()[1]}"
    pids, log = folder / "pids.txt", folder / "log.txt"
    environment = {n: v for n, v in os.environ.items() if not n.startswith("WEIGHWORTHY_")}
    environment |= {"WEIGHWORTHY_BIND": address, "WEIGHWORTHY_WORKERS": str(workers)}
    command = [sys.executable, "-m", "gunicorn", "-c", str(CONFIG)]
    command += ["--access-logfile", str(pids), "--access-logformat", "%(p)s"]
    with log.open("wb") as sink:
        server = subprocess.Popen(
            command,
            cwd=folder,
            env={**environment, "HOME": str(folder), **settings},
            stdout=sink,
            stderr=sink,
        )
        try:
            _wait_until_alive(f"http://{address}/livez", server, log)
            yield f"http://{address}", pids
        finally:
            server.terminate()
            server.wait(timeout=30)


def _wait_until_alive(url: str, server: subprocess.Popen[bytes], log: Path) -> None:
    end = time.monotonic() + 30
    while time.monotonic() < end and server.poll() is None:
        try:
            with requests.Session() as session:
                session.trust_env = False
                if session.get(url, timeout=5).ok:
                    return
        except requests.ConnectionError:
            time.sleep(0.1)
    pytest.fail(f"the server did not come up:\n{log.read_text(errors='replace')[-3000:]}")


@pytest.fixture(scope="module")
def live(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, Path]]:
    folder = tmp_path_factory.mktemp("live")
    with running(folder, workers=2, WEIGHWORTHY_ANONYMOUS="loopback") as server:
        yield server


@pytest.mark.parametrize("kind", REQUESTS)
def test_every_process_answers_the_same_bytes(live: tuple[str, Path], kind: str) -> None:
    url, pids = live
    with Client.embedded() as inside:
        expected = inside.evaluate(kind, REQUESTS[kind])
    assert expected.verdict == "pass"
    before = len(_answered(pids))
    # A new connection each time, because one connection stays with one worker.
    for _ in range(200):
        with Client(url) as client:
            answer = client.evaluate(kind, REQUESTS[kind])
        assert answer.raw == expected.raw
        assert answer.request_id
        if len(set(_answered(pids)[before:])) == 2:
            break
    assert len(set(_answered(pids)[before:])) == 2, "only one worker has answered"


def _answered(pids: Path) -> list[str]:
    return pids.read_text().split()


def test_the_methods_send_what_evaluate_sends(live: tuple[str, Path]) -> None:
    with Client(live[0]) as client:
        methods: dict[str, Callable[..., Any]] = {
            "span": client.check_span,
            "linearity": client.check_linearity,
            "simulated-loss": client.check_simulated_loss,
        }
        for kind, method in methods.items():
            answer = method(**REQUESTS[kind], request_id=f"K-{kind}")
            assert answer == client.evaluate(kind, REQUESTS[kind])
            assert answer.request_id == f"K-{kind}"
            assert dict(answer.labels) == {"note": "José"}


def test_a_problem_arrives_as_it_does_embedded(live: tuple[str, Path]) -> None:
    faulty = {**REQUESTS["span"], "rounds": [{"load": ["W99"], "indication": "50.001"}]}
    seen = []
    with Client(live[0]) as outside, Client.embedded() as inside:
        for client in (outside, inside):
            with pytest.raises(Invalid) as caught:
                client.evaluate("span", faulty, request_id="K-13")
            seen.append(caught.value)
    assert seen[0].problem == seen[1].problem
    assert "unit-missing" in {error.code for error in seen[0].errors}
    assert seen[0].request_id == "K-13"


def test_one_connection_serves_many_calls(live: tuple[str, Path]) -> None:
    with requests.Session() as session, Client(live[0], session=session) as client:
        answers = {client.evaluate("span", REQUESTS["span"]).raw for _ in range(20)}
        pools = session.get_adapter(live[0]).poolmanager.pools
        opened = [pools[key].num_connections for key in pools.keys()]  # noqa: SIM118
    assert len(answers) == 1
    assert opened == [1]


def test_keys(tmp_path: Path) -> None:
    digest = hashlib.sha256(b"the-right-key").hexdigest()
    (tmp_path / "keys.txt").write_text(f"sha256:{digest}  # harbour\n", encoding="utf-8")
    with running(tmp_path, workers=1, WEIGHWORTHY_KEYS_FILE=str(tmp_path / "keys.txt")) as (url, _):
        with Client(url, api_key="the-right-key") as client:
            assert client.evaluate("span", REQUESTS["span"]).verdict == "pass"
        with Client(url, api_key="another-key") as client, pytest.raises(KeyNotAllowed):
            client.info()
        with Client(url) as client, pytest.raises(KeyMissing):
            client.info()
    assert b"the-right-key" not in (tmp_path / "log.txt").read_bytes()
