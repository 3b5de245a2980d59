"""An answer that nobody takes yet is kept, and holds whoever sends it only where much is kept."""

import socket
import threading
import time
from collections.abc import Iterator
from contextlib import suppress

import pytest

from weighworthy_service.web.outgoing import NotTakenError, Outgoing, too_many

# More than a pair of sockets of the system holds.
MUCH = bytes(range(256)) * 16 * 1024


@pytest.fixture
def pair() -> Iterator[tuple[Outgoing, socket.socket]]:
    ours, theirs = socket.socketpair()
    with Outgoing(ours, 0.2) as outgoing, theirs:
        theirs.settimeout(10)
        yield outgoing, theirs


def taken(theirs: socket.socket, length: int) -> bytes:
    found = bytearray()
    while len(found) < length:
        found += theirs.recv(length - len(found))
    return bytes(found)


def test_what_is_taken_at_once_is_not_kept(pair: tuple[Outgoing, socket.socket]) -> None:
    outgoing, theirs = pair
    outgoing.sendall(b"head")
    outgoing.sendall(b"body")
    assert outgoing.kept == 0
    assert taken(theirs, 8) == b"headbody"


def test_a_piece_of_any_size_is_kept_and_sent_on_in_order(
    pair: tuple[Outgoing, socket.socket],
) -> None:
    outgoing, theirs = pair
    outgoing.sendall(MUCH)
    assert 0 < outgoing.kept < len(MUCH)
    found = bytearray()
    while outgoing.kept:
        found += theirs.recv(65_536)
        outgoing.send_on()
    outgoing.close()
    found += b"".join(iter(lambda: theirs.recv(65_536), b""))
    assert bytes(found) == MUCH


def test_who_takes_nothing_is_given_up(pair: tuple[Outgoing, socket.socket]) -> None:
    outgoing, _ = pair
    outgoing.sendall(MUCH)
    begin = time.monotonic()
    with pytest.raises(NotTakenError, match=r"for 0\.2 s"):
        outgoing.sendall(b"more")
    assert time.monotonic() - begin >= 0.2


def test_pieces_wait_for_who_takes_some_and_little_is_kept(
    pair: tuple[Outgoing, socket.socket],
) -> None:
    outgoing, theirs = pair
    pieces, most = [bytes([i]) * 65_536 for i in range(64)], 0

    def read() -> None:
        read_so_far.extend(taken(theirs, 64 * 65_536))

    read_so_far = bytearray()
    reader = threading.Thread(target=read)
    reader.start()
    for piece in pieces:
        outgoing.sendall(piece)
        most = max(most, outgoing.kept)
    while outgoing.kept:
        outgoing.send_on()
    reader.join(timeout=10)
    assert bytes(read_so_far) == b"".join(pieces)
    assert most <= 256 * 1024


def test_who_has_gone_is_an_error(pair: tuple[Outgoing, socket.socket]) -> None:
    outgoing, theirs = pair
    theirs.close()
    with pytest.raises(OSError):  # noqa: PT011  which one is the system's affair
        outgoing.sendall(MUCH)


def test_those_who_waited_longest_go_first_and_no_more_than_must() -> None:
    class Kept:
        def __init__(self, kept: int) -> None:
            self.kept = kept

    def gone(*sizes: int) -> int:
        return too_many([Kept(size) for size in sizes], most=100)  # type: ignore[misc]

    assert gone() == gone(100) == gone(60, 40) == 0
    assert gone(60, 41) == gone(1, 100) == 1
    assert gone(50, 60, 100) == 2
    assert gone(101) == 1


def test_a_word_in_between_waits_for_nobody_either(pair: tuple[Outgoing, socket.socket]) -> None:
    """gunicorn sends `100 Continue` so, on a connection that may have no room at all."""
    outgoing, theirs = pair
    filled = 0
    with suppress(BlockingIOError):
        while True:
            filled += socket.socket.send(outgoing, MUCH, socket.MSG_DONTWAIT)
    begin = time.monotonic()
    assert outgoing.send(b"go on") == 5
    assert time.monotonic() - begin < 1
    assert outgoing.kept == 5
    taken(theirs, filled)
    outgoing.sendall(b", then")
    assert taken(theirs, 11) == b"go on, then"
