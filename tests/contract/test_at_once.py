"""Plain checks are answered by the loop of the worker itself, and nothing that could hold it up."""

import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, ExitStack
from pathlib import Path
from typing import Any

import pytest

CHECK = "/v1/checks/span"
LOOP = "MainThread"


# A worker of three threads, with an application that tells who answered.
APPLICATION = ("--pythonpath", "tests/contract", "told_threads:application()")
SETTINGS = {
    "WEIGHWORTHY_WORKERS": "1",
    "WEIGHWORTHY_THREADS": "3",
    "WEIGHWORTHY_REQUEST_SECONDS": "3",
    "WEIGHWORTHY_STOP_SECONDS": "30",
}
Serve = Callable[..., AbstractContextManager[tuple[str, int]]]


def port_of(address: str) -> int:
    return int(address.rpartition(":")[2])


@pytest.fixture(scope="module")
def port(tmp_path_factory: pytest.TempPathFactory, serve: Serve) -> Iterator[int]:
    with serve(tmp_path_factory.mktemp("server"), *APPLICATION, **SETTINGS) as (address, _):
        yield port_of(address)


def connected(port: int) -> socket.socket:
    return socket.create_connection(("127.0.0.1", port), timeout=20)


def asked(*lines: str, path: str = CHECK, body: bytes = b"{}", method: str = "POST") -> bytes:
    length = [] if any(n.lower().startswith("transfer") for n in lines) else [len(body)]
    stated = [f"Content-Length: {n}" for n in length]
    said = [f"{method} {path} HTTP/1.1", "Host: 127.0.0.1", *stated, *lines, "", ""]
    return "\r\n".join(said).encode() + body


def answer(reading: Any) -> tuple[int, str]:
    """The status and the body of the next answer on a connection."""
    line = reading.readline()
    size, lines = 0, iter(reading.readline, b"\r\n")
    for one in lines:
        name, _, value = one.decode().partition(":")
        size = int(value) if name.lower() == "content-length" else size
    return int(line.split()[1]), reading.read(size).decode()


def ask(port: int, sent: bytes) -> tuple[int, str]:
    with connected(port) as sock, sock.makefile("rb") as reading:
        sock.sendall(sent)
        return answer(reading)


def test_a_plain_check_is_answered_by_the_loop(port: int) -> None:
    assert ask(port, asked("Accept: application/json")) == (200, f"{LOOP} 2 ")


@pytest.mark.parametrize(
    "sent",
    [
        asked(path=CHECK + "?explain=true"),
        asked("Accept: text/html,application/json;q=0.9"),
        asked("ACCEPT:application/xhtml+xml"),
        asked(body=b" " * 4096),
        asked("Transfer-Encoding: chunked", body=b"2\r\n{}\r\n0\r\n\r\n"),
        asked(method="GET", path="/v1/checks"),
        asked(path="/v1/batches"),
        asked(path="/v1/checks/span/more"),
    ],
    ids=["query", "page", "xhtml", "long", "chunks", "another method", "another address", "below"],
)
def test_all_else_is_answered_by_a_thread(port: int, sent: bytes) -> None:
    status, text = ask(port, sent)
    assert status == 200
    assert text.startswith("ThreadPoolExecutor")


@pytest.mark.parametrize(
    "lines",
    [
        ["Transfer-Encoding: chunked"],
        ["Transfer-Encoding : chunked"],
        ["Content-Length: 90000000000000000000"],
        ["Content-Length: 5, 5"],
        ["Content-Length: 5", "Content-Length: 7"],
        ["Content-Length: 5", "Transfer-Encoding: chunked"],
        ["X: a\nContent-Length: 500"],
        ["X: a", " Content-Length: 500"],
        ["Content-Length : 500"],
        ["Content_Length: 500"],
    ],
)
def test_the_loop_waits_for_no_body(port: int, lines: list[str]) -> None:
    """However the length is stated: others are answered while the rest of a body is not there."""
    head = "\r\n".join([f"POST {CHECK} HTTP/1.1", "Host: 127.0.0.1", *lines, "", ""]).encode()
    with connected(port) as stalled:
        stalled.sendall(head)
        time.sleep(0.1)
        begin = time.monotonic()
        assert ask(port, asked())[0] == 200
        assert time.monotonic() - begin < 2


def test_a_check_needs_no_free_thread(port: int) -> None:
    busy = [connected(port) for _ in range(3)]
    for sock in busy:
        sock.sendall(asked("X-Sleep: 2", path="/v1/batches"))
    time.sleep(0.2)
    begin = time.monotonic()
    assert ask(port, asked()) == (200, f"{LOOP} 2 ")
    assert time.monotonic() - begin < 1
    for sock in busy:
        with sock, sock.makefile("rb") as reading:
            assert answer(reading)[0] == 200


def test_requests_in_one_piece_are_answered_in_turn(port: int) -> None:
    """So many that each answer within the one before would be too deep."""
    count = 2000
    pieces = [asked(f"X-Number: {n}") for n in range(count)]
    pieces[999::1000] = [asked(f"X-Number: {n}", path="/v1/batches") for n in (999, 1999)]
    with connected(port) as sock, sock.makefile("rb") as reading:
        sock.sendall(b"".join(pieces))
        for number in range(count):
            assert answer(reading)[1].split()[2] == str(number)


def test_who_does_not_read_holds_nobody_up(port: int) -> None:
    with connected(port) as deaf:
        for number in range(8):
            deaf.sendall(asked("X-Long: 3000000", f"X-Number: {number}"))
        time.sleep(0.3)
        begin = time.monotonic()
        assert ask(port, asked()) == (200, f"{LOOP} 2 ")
        assert time.monotonic() - begin < 2
        with deaf.makefile("rb") as reading:
            for number in range(8):
                status, text = answer(reading)
                assert (status, text.rstrip(".").split()[2]) == (200, str(number))


def test_a_failure_is_of_one_request_only(port: int) -> None:
    assert ask(port, asked("X-Fail: yes"))[0] == 500
    assert ask(port, asked()) == (200, f"{LOOP} 2 ")


def test_an_exit_is_of_one_request_only(port: int) -> None:
    with connected(port) as sock:
        sock.sendall(asked("X-Exit: yes"))
        assert sock.recv(1000) == b""
    assert ask(port, asked()) == (200, f"{LOOP} 2 ")


def test_who_sends_many_at_once_leaves_turns_to_others(port: int) -> None:
    """Health is asked for on connections that are new."""
    with ExitStack() as stack:
        for _ in range(10):
            many = stack.enter_context(connected(port))
            many.sendall(asked("X-Sleep: 0.02") * 40)
        time.sleep(0.2)
        begin = time.monotonic()
        others = [stack.enter_context(connected(port)) for _ in range(120)]
        for sock in others:
            sock.sendall(asked(method="GET", path="/livez"))
        for sock in others:
            with sock.makefile("rb") as reading:
                assert answer(reading)[0] == 200
        assert time.monotonic() - begin < 4


def test_many_that_are_ready_at_once_do_not_keep_the_heartbeat(
    tmp_path: Path, serve: Serve
) -> None:
    """All together they take longer than a worker may be silent."""
    with ExitStack() as stack:
        server = serve(tmp_path, "--timeout", "3", *APPLICATION, **SETTINGS)
        port = port_of(stack.enter_context(server)[0])
        many = [stack.enter_context(connected(port)) for _ in range(14)]
        readings = [stack.enter_context(sock.makefile("rb")) for sock in many]
        for sock, reading in zip(many, readings, strict=True):  # so that all are accepted
            sock.sendall(asked())
            assert answer(reading)[0] == 200
        for sock in many:
            sock.sendall(asked("X-Sleep: 0.4"))
        for reading in readings:
            assert answer(reading) == (200, f"{LOOP} 2 ")


def test_it_stops_while_clients_keep_coming(tmp_path: Path, serve: Serve) -> None:
    """Those who connected are answered, the others refused; it is over soon."""
    lost: list[str] = []

    def coming(port: int) -> None:
        while True:
            try:
                sock = connected(port)
            except OSError:
                return
            with sock, sock.makefile("rb") as reading:
                try:
                    sock.sendall(asked("X-Sleep: 0.02"))
                    assert answer(reading)[0] == 200
                except (OSError, IndexError) as error:
                    lost.append(repr(error))

    with serve(tmp_path, *APPLICATION, **SETTINGS) as (address, _):
        threads = [threading.Thread(target=coming, args=(port_of(address),)) for _ in range(4)]
        for thread in threads:
            thread.start()
        time.sleep(1)
        begin = time.monotonic()
    # It was told to stop, and has ended in the orderly way.
    assert time.monotonic() - begin < 10
    for thread in threads:
        thread.join(timeout=30)
    assert lost == []


def test_who_left_disturbs_nobody(port: int) -> None:
    for _ in range(20):
        with connected(port) as sock:
            sock.sendall(asked("X-Long: 3000000"))
    assert ask(port, asked()) == (200, f"{LOOP} 2 ")


def test_the_last_request_of_a_connection_closes_it(port: int) -> None:
    with connected(port) as sock, sock.makefile("rb") as reading:
        sock.sendall(asked("Connection: close"))
        assert answer(reading) == (200, f"{LOOP} 2 ")
        assert reading.read() == b""
