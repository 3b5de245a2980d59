"""The client against real sockets: silence, trickles, lost connections, and the environment."""

import gzip
import os
import socket
import ssl
import threading
import time
from collections.abc import Callable, Iterator
from http.server import BaseHTTPRequestHandler
from pathlib import Path
from typing import Any

import pytest
import requests

import weighworthy.transport
from weighworthy import Client, ConnectFailed, DeadlineExceeded, ProtocolError, TimedOut, TlsFailed

Handler = BaseHTTPRequestHandler


def check(client: Client) -> Any:
    with client:
        return client.check_span(rounds=[{"load": ["W20"], "indication": "20.001 g"}])


@pytest.fixture(autouse=True)
def _no_environment(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in list(os.environ):
        if name.lower().endswith("_proxy") or name.endswith("_CA_BUNDLE"):
            monkeypatch.delenv(name)


def trickle(handler: Handler, pieces: Iterator[bytes], pause: float = 0.05) -> None:
    for piece in pieces:
        handler.wfile.write(piece)
        handler.wfile.flush()
        time.sleep(pause)


def start(handler: Handler, length: int) -> None:
    handler.send_response(200)
    handler.send_header("Content-Type", "application/json")
    handler.send_header("Content-Length", str(length))
    handler.end_headers()
    handler.wfile.flush()


def took(work: Callable[[], Any], error: type[Exception]) -> float:
    started = time.monotonic()
    with pytest.raises(error):
        work()
    return time.monotonic() - started


def test_an_answer(serve: Any, reply: Any, answer_bytes: bytes) -> None:
    bodies = []

    def handle(handler: Handler, body: bytes) -> None:
        bodies.append(body)
        reply(handler, answer_bytes, X_Request_Id="R-8")

    with serve(handle) as (url, seen):
        answer = check(Client(url + "/base/"))
    assert answer.raw == answer_bytes
    assert answer.request_id == "R-8"
    assert seen[0]["path"] == "/base/v1/checks/span"
    assert seen[0]["Content-Type"] == "application/json"
    assert seen[0]["Accept"] == "application/json"
    assert seen[0]["Content-Length"] == str(len(bodies[0]))
    assert seen[0]["User-Agent"].startswith("weighworthy/")
    assert "Authorization" not in seen[0]
    assert bodies == [b'{"rounds": [{"load": ["W20"], "indication": "20.001 g"}]}']


def test_a_compressed_answer(serve: Any, reply: Any, answer_bytes: bytes) -> None:
    def handle(handler: Handler, _: bytes) -> None:
        reply(handler, gzip.compress(answer_bytes), Content_Encoding="gzip")

    with serve(handle) as (url, _):
        assert check(Client(url)).raw == answer_bytes


def test_silence_is_a_read_time_out(serve: Any) -> None:
    with serve(lambda *_: time.sleep(3)) as (url, seen):
        client = Client(url, timeout=(1, 0.1), retries=0)
        assert took(lambda: check(client), TimedOut) < 2
        assert len(seen) == 1


def test_silence_in_the_middle_of_a_body(serve: Any) -> None:
    def handle(handler: Handler, _: bytes) -> None:
        start(handler, 100)
        trickle(handler, iter([b"{"]), 3)

    with serve(handle) as (url, _):
        client = Client(url, timeout=(1, 0.1), retries=0)
        assert took(lambda: check(client), TimedOut) < 2


def test_a_read_time_out_is_tried_again(serve: Any, reply: Any, answer_bytes: bytes) -> None:
    calls: list[int] = []

    def handle(handler: Handler, _: bytes) -> None:
        calls.append(1)
        if len(calls) == 1:
            time.sleep(1.5)
        reply(handler, answer_bytes)

    with serve(handle) as (url, _):
        assert check(Client(url, timeout=(1, 0.7))).verdict == "fail"
        assert len(calls) == 2


def test_a_trickling_body_meets_the_deadline(serve: Any) -> None:
    def handle(handler: Handler, _: bytes) -> None:
        start(handler, 1000)
        trickle(handler, iter([b" "] * 100))

    with serve(handle) as (url, seen):
        client = Client(url, timeout=(1, 1), deadline=0.3)
        assert 0.2 < took(lambda: check(client), DeadlineExceeded) < 2
        assert len(seen) == 1


def test_trickling_headers_meet_the_deadline(serve: Any) -> None:
    def handle(handler: Handler, _: bytes) -> None:
        trickle(handler, iter([b"HTTP/1.1 200 OK\r\n", *[b"X: y\r\n"] * 90]))

    with serve(handle) as (url, _):
        client = Client(url, timeout=(1, 1), deadline=0.3)
        assert 0.2 < took(lambda: check(client), DeadlineExceeded) < 2


def test_nothing_goes_on_reading_long_after_the_deadline(serve: Any) -> None:
    ended = threading.Event()

    def handle(handler: Handler, _: bytes) -> None:
        handler.send_response(200)
        handler.send_header("Content-Type", "application/json")
        handler.send_header("Transfer-Encoding", "chunked")
        handler.end_headers()
        trickle(handler, iter([b"1\r\n \r\n"] * 100))
        ended.set()

    earlier = set(threading.enumerate())
    with serve(handle) as (url, _):
        took(lambda: check(Client(url, timeout=(1, 1), deadline=0.2)), DeadlineExceeded)
        (call,) = (t for t in set(threading.enumerate()) - earlier if t.name == "weighworthy-call")
        call.join(timeout=3)
        assert not call.is_alive()
        assert not ended.is_set(), "the server still sends"


def test_a_stall_after_a_trickle_meets_the_deadline(serve: Any) -> None:
    def handle(handler: Handler, _: bytes) -> None:
        start(handler, 1000)
        trickle(handler, iter([b" "] * 4))
        time.sleep(5)

    with serve(handle) as (url, _):
        client = Client(url, timeout=(1, 4), deadline=0.4)
        assert took(lambda: check(client), DeadlineExceeded) < 2


def test_a_dropped_connection_is_tried_again(serve: Any, reply: Any, answer_bytes: bytes) -> None:
    calls: list[int] = []

    def handle(handler: Handler, _: bytes) -> None:
        calls.append(1)
        if len(calls) == 1:
            start(handler, 1000)
            handler.wfile.write(b'{"half": ')
            handler.wfile.flush()
            handler.connection.shutdown(socket.SHUT_RDWR)
            handler.close_connection = True
        else:
            reply(handler, answer_bytes)

    with serve(handle) as (url, _):
        assert check(Client(url)).verdict == "fail"
        assert len(calls) == 2


def test_a_dropped_chunked_answer(serve: Any) -> None:
    def handle(handler: Handler, _: bytes) -> None:
        handler.send_response(200)
        handler.send_header("Content-Type", "application/json")
        handler.send_header("Transfer-Encoding", "chunked")
        handler.end_headers()
        handler.wfile.write(b"5\r\n{    \r\n")
        handler.close_connection = True

    with serve(handle) as (url, seen):
        with pytest.raises(ConnectFailed):
            check(Client(url, retries=1))
        assert len(seen) == 2


def test_nobody_listens() -> None:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    with pytest.raises(ConnectFailed, match="refused"):
        check(Client(f"http://127.0.0.1:{port}", retries=0))


def test_a_connection_that_is_lost_before_tls_has_begun_is_tried_again() -> None:
    """As when a proxy is started anew: no doubt of whom it would have been with."""
    with socket.create_server(("127.0.0.1", 0)) as listener:
        accepted = []

        def run() -> None:
            for _ in range(2):
                lost, _ = listener.accept()
                accepted.append(lost.recv(64))
                lost.close()

        thread = threading.Thread(target=run)
        thread.start()
        with pytest.raises(ConnectFailed, match="lost"):
            check(Client(f"https://127.0.0.1:{listener.getsockname()[1]}", retries=1))
        thread.join()
    assert len(accepted) == 2


def test_a_plain_server_where_tls_is_expected(serve: Any, reply: Any) -> None:
    with serve(lambda h, _: reply(h, b"{}")) as (url, _):
        with pytest.raises(TlsFailed) as caught:
            check(Client(url.replace("http:", "https:")))
        assert caught.value.request_id


def test_an_endless_answer_is_cut(serve: Any, reply: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(weighworthy.transport, "_LARGEST_ANSWER", 1024 * 1024)
    bomb = gzip.compress(b" " * 20_000_000)
    with serve(lambda h, _: reply(h, bomb, Content_Encoding="gzip")) as (url, seen):
        with pytest.raises(ProtocolError, match="larger than 1 MiB"):
            check(Client(url))
        assert len(seen) == 1


def test_a_body_that_is_not_gzip(serve: Any, reply: Any) -> None:
    with (
        serve(lambda h, _: reply(h, b"plain", Content_Encoding="gzip")) as (url, _),
        pytest.raises(ProtocolError, match="cannot be read"),
    ):
        check(Client(url))


def test_a_login_page(serve: Any, reply: Any) -> None:
    page = b"<html><title>Sign in to the guest network</title>"
    with serve(lambda h, _: reply(h, page, content_type="text/html")) as (url, seen):
        with pytest.raises(ProtocolError, match="login page") as caught:
            check(Client(url))
        assert "Sign in" in caught.value.excerpt
        assert len(seen) == 1


def test_a_login_page_that_calls_itself_json(serve: Any, reply: Any) -> None:
    with serve(lambda h, _: reply(h, b"<html>")) as (url, _), pytest.raises(ProtocolError):
        check(Client(url))


def test_a_redirect_is_not_followed(serve: Any, reply: Any) -> None:
    with serve(lambda h, _: reply(h, b"", 302, Location="http://127.0.0.2/x")) as (url, seen):
        with pytest.raises(ProtocolError, match=r"redirect to 127\.0\.0\.2"):
            check(Client(url))
        assert len(seen) == 1


NETRC = "machine 127.0.0.1 login somebody password else\n"


def test_netrc_does_not_replace_the_key(
    serve: Any, reply: Any, answer_bytes: bytes, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "netrc").write_text(NETRC, encoding="utf-8")
    monkeypatch.setenv("NETRC", str(tmp_path / "netrc"))
    with serve(lambda h, _: reply(h, answer_bytes)) as (url, seen):
        # So that the test shows something: requests alone does send the entry.
        requests.post(url, headers={"Authorization": "Bearer k"}, timeout=5)
        check(Client(url, api_key="k-123"))
        check(Client(url))
    assert seen[0]["Authorization"].startswith("Basic ")
    assert seen[1]["Authorization"] == "Bearer k-123"
    assert "Authorization" not in seen[2]


@pytest.mark.parametrize("name", ["HTTP_PROXY", "http_proxy", "ALL_PROXY", "all_proxy"])
def test_a_proxy_is_not_used_for_loopback(
    serve: Any, reply: Any, answer_bytes: bytes, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    with (
        serve(lambda h, _: reply(h, b"", 502)) as (proxy, through),
        serve(lambda h, _: reply(h, answer_bytes)) as (url, _),
    ):
        monkeypatch.setenv(name, proxy)
        # So that the test shows something: requests alone does go through the proxy.
        assert requests.get(url, timeout=5).status_code == 502
        for host in ("127.0.0.1", "localhost"):
            answer = check(Client(url.replace("127.0.0.1", host), api_key="k"))
            assert answer.verdict == "fail"
        assert len(through) == 1


def test_a_proxy_is_used_for_other_hosts(
    serve: Any, reply: Any, answer_bytes: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    with serve(lambda h, _: reply(h, answer_bytes)) as (proxy, through):
        monkeypatch.setenv("HTTP_PROXY", proxy)
        check(Client("http://service.invalid/base"))
        assert through[0]["path"] == "http://service.invalid/base/v1/checks/span"


@pytest.fixture
def certificates(tmp_path: Path) -> tuple[Path, Path]:
    """A certificate for 127.0.0.1 that signs itself, and its key."""
    import subprocess

    certificate, key = tmp_path / "own.pem", tmp_path / "own.key"
    done = subprocess.run(
        "openssl req -x509 -newkey rsa:2048 -nodes -days 2 -subj /CN=127.0.0.1 "
        f"-addext subjectAltName=IP:127.0.0.1 -keyout {key.name} -out {certificate.name}".split(),
        cwd=tmp_path,
        capture_output=True,
        check=False,
    )
    if done.returncode:
        pytest.skip("needs openssl to make a certificate")
    return certificate, key


@pytest.fixture
def tls_url(certificates: tuple[Path, Path], answer_bytes: bytes) -> Iterator[str]:
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(*certificates)
    listener = socket.create_server(("127.0.0.1", 0))
    head = b"HTTP/1.1 200 OK\r\nContent-Type: application/json\r\nConnection: close\r\n"

    def run() -> None:
        while True:
            try:
                plain, _ = listener.accept()
            except OSError:
                return
            try:
                with context.wrap_socket(plain, server_side=True) as secure:
                    secure.recv(65536)
                    time.sleep(0.05)
                    secure.sendall(
                        head + b"Content-Length: %d\r\n\r\n" % len(answer_bytes) + answer_bytes
                    )
            except (ssl.SSLError, OSError):
                plain.close()

    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    yield f"https://127.0.0.1:{listener.getsockname()[1]}"
    listener.shutdown(socket.SHUT_RDWR)
    listener.close()
    thread.join()


def test_verify_names_the_authority_to_trust(
    tls_url: str, certificates: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    import certifi

    with pytest.raises(TlsFailed, match="certificate"):
        check(Client(tls_url))
    # The environment knows only others; what the caller says must win.
    monkeypatch.setenv("REQUESTS_CA_BUNDLE", certifi.where())
    assert check(Client(tls_url, verify=str(certificates[0]))).verdict == "fail"
    # And the other way round: the environment must not widen what the caller trusts.
    monkeypatch.setenv("REQUESTS_CA_BUNDLE", str(certificates[0]))
    with pytest.raises(TlsFailed):
        check(Client(tls_url, verify=certifi.where()))


def test_without_verify_the_bundle_of_the_environment_counts(
    tls_url: str, certificates: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("REQUESTS_CA_BUNDLE", str(certificates[0]))
    assert check(Client(tls_url)).verdict == "fail"


def test_verify_of_a_callers_session_counts(tls_url: str, certificates: tuple[Path, Path]) -> None:
    with requests.Session() as session:
        session.verify = str(certificates[0])
        assert check(Client(tls_url, session=session)).verdict == "fail"
