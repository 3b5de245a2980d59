"""The service behind the nginx that is shipped with it: TLS, limits, headers, slow clients."""

import http.client
import importlib.util
import json
import os
import ssl
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest
import requests

from weighworthy import Client
from weighworthy_service.checks.registry import KINDS

ROOT = Path(__file__).parents[2]


def _bench(name: str) -> Any:
    """A module of the benches, which start the same servers."""
    spec = importlib.util.spec_from_file_location(name, ROOT / f"tests/bench/{name}.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


behind = _bench("behind_nginx")
clients = _bench("slow_clients")
pytestmark = [
    pytest.mark.needs_nginx,
    pytest.mark.skipif(not behind.AVAILABLE, reason="no nginx or no openssl"),
]
CHECK = "/v1/checks/simulated-loss"
REQUEST = KINDS[2].example["request"]
KEY = {"Authorization": f"Bearer {behind.KEY}"}
SOON = 2.0


@pytest.fixture(scope="module")
def replica(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    """One worker of four threads. It takes requests of its own computer without a key."""
    settings = {"WEIGHWORTHY_WORKERS": "1", "WEIGHWORTHY_ANONYMOUS": "loopback"}
    found = behind.Replica(tmp_path_factory.mktemp("replica"), settings)
    found.start()
    yield found
    assert found.stop() == 0


@pytest.fixture(scope="module")
def proxy(replica: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    """One server that is there, and one that is not."""
    with behind.nginx(tmp_path_factory.mktemp("nginx"), replica.port, behind.free_port()) as found:
        yield found


@pytest.fixture
def session(proxy: Any) -> Iterator[requests.Session]:
    with requests.Session() as opened:
        opened.trust_env = False
        opened.verify = str(proxy.certificate)
        yield opened


def test_the_client_asks_through_tls(proxy: Any) -> None:
    with Client(proxy.address, api_key=behind.KEY, verify=str(proxy.certificate)) as client:
        through = client.evaluate("simulated-loss", REQUEST)
    with Client.embedded() as client:
        assert through.raw == client.evaluate("simulated-loss", REQUEST).raw


def test_without_tls_nothing_is_told(proxy: Any) -> None:
    plain = requests.get(proxy.address.replace("https", "http") + "/livez", timeout=10)
    assert plain.status_code == 400
    assert plain.headers["Content-Type"] == "application/problem+json"


@pytest.mark.parametrize(
    "headers", [{}, {"X-Forwarded-For": ""}, {"Host": "localhost"}, {"X-Real-IP": "127.0.0.1"}]
)
def test_the_proxy_does_not_open_the_door(
    proxy: Any, replica: Any, session: requests.Session, headers: dict[str, str]
) -> None:
    """It runs on the computer whose own requests need no key."""
    assert session.post(replica.address + CHECK, json=REQUEST, timeout=30).status_code == 200
    response = session.post(proxy.address + CHECK, json=REQUEST, headers=headers, timeout=30)
    assert response.status_code == 401
    assert response.json()["type"] == "/problems/key-missing"
    assert response.headers["WWW-Authenticate"] == "Bearer"


def test_request_id_and_security_headers(proxy: Any, session: requests.Session) -> None:
    own = session.post(
        proxy.address + CHECK, json=REQUEST, headers={**KEY, "X-Request-Id": "kmf-1"}, timeout=30
    )
    assert own.headers["X-Request-Id"] == "kmf-1"
    assert own.headers["X-Content-Type-Options"] == "nosniff"
    assert own.headers["Server"] == "nginx"
    made = session.get(f"{proxy.address}/livez", headers={"X-Request-Id": "a b;c"}, timeout=30)
    assert len(made.headers["X-Request-Id"]) == 32
    logged = [json.loads(line) for line in (proxy.folder / "access.log").read_text().splitlines()]
    assert {made.headers["X-Request-Id"], "kmf-1"} <= {line["request_id"] for line in logged}
    assert behind.KEY not in (proxy.folder / "access.log").read_text()


@pytest.mark.parametrize(
    ("path", "size", "says"),
    [
        (CHECK, 2_000_000, "at most"),
        (CHECK, 9_000_000, "the proxy"),
        ("/v1/batches", 2**31, "the proxy"),
        ("/v1/records/verify-chain", 2**31, "the proxy"),
    ],
)
def test_too_large_is_a_problem_document(
    proxy: Any, conforms: Callable[..., None], path: str, size: int, says: str
) -> None:
    """What the proxy refuses and what the service refuses look alike."""
    kind = "application/json" if path == CHECK else "text/csv"
    status, headers, body = _posted(proxy, path, kind, size)
    assert status == 413
    assert headers["Content-Type"] == "application/problem+json"
    assert json.loads(body)["request_id"] == headers["X-Request-Id"]
    assert json.loads(body)["detail"].startswith(says)
    conforms(path, "post", status, headers["Content-Type"], body)


def test_a_long_chain_of_records_passes(proxy: Any) -> None:
    """Above the 8 MiB of other bodies: it is the service that finds one line of it too long."""
    status, _, body = _posted(proxy, "/v1/records/verify-chain", "application/x-ndjson", 9_000_000)
    assert status == 413
    assert json.loads(body)["detail"].startswith("line 1 is longer than")


def _posted(proxy: Any, path: str, kind: str, size: int) -> tuple[int, dict[str, str], bytes]:
    """The answer to so many blanks; of very many, only the number is told."""
    context = ssl.create_default_context(cafile=proxy.certificate)
    connection = http.client.HTTPSConnection("127.0.0.1", proxy.port, context=context, timeout=30)
    headers = {**KEY, "Content-Type": kind, "Content-Length": str(size)}
    connection.request("POST", path, b" " * size if size < 2**24 else None, headers)
    answer = connection.getresponse()
    told = answer.status, dict(answer.getheaders()), answer.read()
    connection.close()
    return told


@pytest.mark.parametrize(
    ("path", "headers", "status"),
    [("/livez?" + "a" * 9000, {}, 400), ("/livez", {"X-Long": "a" * 9000}, 400)],
)
def test_what_nginx_finds_malformed_is_a_problem_document(
    proxy: Any, session: requests.Session, path: str, headers: dict[str, str], status: int
) -> None:
    response = session.get(proxy.address + path, headers=headers, timeout=30)
    assert response.status_code == response.json()["status"] == status
    assert response.headers["Content-Type"] == "application/problem+json"


def test_nobody_there_is_told_with_when_to_come_again(
    tmp_path: Path, conforms: Callable[..., None]
) -> None:
    with behind.nginx(tmp_path, behind.free_port()) as alone:
        response = requests.post(
            alone.address + CHECK, json=REQUEST, verify=alone.certificate, timeout=30
        )
    assert response.status_code == 503
    assert response.headers["Retry-After"] == "2"
    conforms(CHECK, "post", 503, response.headers["Content-Type"], response.content)


def test_connections_to_the_service_are_kept(
    proxy: Any, replica: Any, session: requests.Session
) -> None:
    """One that ends would wait a minute in the table of the system."""
    for _ in range(50):
        assert session.get(f"{proxy.address}/livez", timeout=30).status_code == 200
    hexed = f":{replica.port:04X}"
    rows = [line.split() for line in Path("/proc/net/tcp").read_text().splitlines()[1:]]
    # 01: established, 06: waiting (Linux, include/net/tcp_states.h).
    states = [row[3] for row in rows if row[2].endswith(hexed)]
    assert "01" in states
    assert states.count("06") < 25


def test_the_answer_to_a_table_comes_while_it_is_judged(
    proxy: Any, session: requests.Session
) -> None:
    lines = json.dumps({"check": "simulated-loss", **REQUEST}).encode() + b"\n"
    headers = {**KEY, "Content-Type": "application/x-ndjson"}
    begin = time.monotonic()
    with session.post(
        f"{proxy.address}/v1/batches", data=lines * 3000, headers=headers, stream=True, timeout=60
    ) as response:
        pieces = response.iter_content(65_536)
        next(pieces)
        first = time.monotonic() - begin
        rest = b"".join(pieces)
        whole = time.monotonic() - begin
    assert rest.splitlines()[-1].startswith(b'{"summary"')
    assert first < 0.8 * whole


@pytest.mark.parametrize("slow", list(clients.SLOW))
@pytest.mark.parametrize("way", ["nginx", "bare"])
def test_fifty_slow_clients_and_one_more(proxy: Any, replica: Any, way: str, slow: str) -> None:
    with ExitStack() as stack, requests.Session() as session:
        session.trust_env = False
        session.verify = str(proxy.certificate)
        address = proxy.address if way == "nginx" else replica.address
        for _ in range(clients.MANY):
            raw = clients.through(proxy) if way == "nginx" else clients.bare(replica)
            stack.enter_context(raw).sendall(clients.SLOW[slow])
        time.sleep(0.3)
        if slow in (clients.READERS, clients.DOCUMENTS):
            _wait_until_idle(replica)
        begin = time.monotonic()
        response = session.post(address + CHECK, json=REQUEST, headers=KEY, timeout=30)
        assert response.status_code == 200
        assert time.monotonic() - begin < SOON


def _wait_until_idle(replica: Any) -> None:
    """Work that is asked for is no slowness: what is measured begins when it is done."""
    until = time.monotonic() + 20
    before = -1.0
    while time.monotonic() < until:
        now = _cpu(replica.workers()[0])
        if now - before < 0.1:
            return
        before = now
        time.sleep(0.5)


def _cpu(pid: int) -> float:
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")
