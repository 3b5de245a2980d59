"""A sender that keeps its plan: requests go out when they are due, however slow answers are.

A sender that waits for an answer before it asks again asks less of a slow server, and so never sees
what clients wait who come at their own time. Here the moments are planned before the first request,
as those of clients who know nothing of each other (exponential gaps), and latency counts from the
planned moment: what a request waits for a free connection, or for this sender, counts too.
"""

import gc
import random
import select
import socket
import time
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field

CONNECTIONS = 64
_END = b"\r\n\r\n"
_LENGTH = b"content-length:"


@dataclass
class Sent:
    """Latencies in s, of each answer that came, and how many requests got another than 200."""

    latencies: list[float] = field(default_factory=list)
    errors: int = 0

    def quantile(self, share: float) -> float:
        """Of the latencies, in s; the next larger one that was measured."""
        found = sorted(self.latencies)
        return found[min(len(found) - 1, int(share * len(found)))]


@dataclass(eq=False)
class _Asked:
    """A connection with a request under way."""

    sock: socket.socket
    planned: float
    said: bytearray = field(default_factory=bytearray)
    needed: int | None = None


def send(port: int, requests: Sequence[bytes], rate: float, seconds: float, seed: int) -> Sent:
    """Send whole requests, in turn, to a port of this machine: `rate` a second on the average."""
    chance = random.Random(seed)  # noqa: S311
    planned, at = deque[float](), 0.0
    while (at := at + chance.expovariate(rate)) < seconds:
        planned.append(at)
    free = [socket.create_connection(("127.0.0.1", port)) for _ in range(CONNECTIONS)]
    for sock in free:
        sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        sock.settimeout(60)
    asked: dict[socket.socket, _Asked] = {}
    sent, number = Sent(), 0
    # What waits while this process collects would be taken for slow answers.
    gc.collect()
    gc.freeze()
    begin = time.perf_counter() + 0.1
    while planned or asked:
        now = time.perf_counter() - begin
        while planned and planned[0] <= now and free:
            sock = free.pop()
            asked[sock] = _Asked(sock, planned.popleft())
            sock.sendall(requests[number % len(requests)])
            number += 1
        due = planned[0] - (time.perf_counter() - begin) if planned and free else 60.0
        for sock in select.select([*asked], [], [], max(0.0, due))[0]:
            one = asked[sock]
            one.said += sock.recv(65536)
            if _is_whole(one):
                sent.latencies.append(time.perf_counter() - begin - one.planned)
                sent.errors += not one.said.startswith(b"HTTP/1.1 200 ")
                del asked[sock]
                free.append(sock)
    for sock in free:
        sock.close()
    return sent


def _is_whole(one: _Asked) -> bool:
    if not one.said:
        raise SystemExit("a connection was closed in the middle of a run")
    if one.needed is None:
        end = one.said.find(_END)
        if end < 0:
            return False
        head = bytes(one.said[:end]).lower()
        start = head.index(_LENGTH) + len(_LENGTH)
        one.needed = end + len(_END) + int(head[start:].split(b"\r\n", 1)[0])
    return len(one.said) >= one.needed
