"""Makes trouble for replicas behind a proxy, at random moments, and counts it."""

import math
import os
import random
import select
import signal
import socket
import threading
import time
from collections import Counter
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field

from behind_nginx import Nginx, Replica, free_port

DRAW = random.Random(20260316)  # noqa: S311


@dataclass
class Relay:
    """Between client and proxy: bytes pass as they are, until a connection is cut at random."""

    to: int
    port: int = field(default_factory=free_port)
    cutting: bool = False
    cuts: Counter[str] = field(default_factory=Counter)
    open: set[socket.socket] = field(default_factory=set)

    def serve(self) -> None:
        listening = socket.create_server(("127.0.0.1", self.port), backlog=64)
        while True:
            client, _ = listening.accept()
            threading.Thread(target=self._pass_on, args=(client,), daemon=True).start()

    def _pass_on(self, client: socket.socket) -> None:
        with suppress(OSError), client, socket.create_connection(("127.0.0.1", self.to)) as proxy:
            # A connection that is to be cut is so after so many bytes in one of the directions.
            left = {DRAW.choice([client, proxy]): _some_bytes()}
            other = {client: proxy, proxy: client}
            while True:
                for one in select.select([client, proxy], [], [])[0]:
                    piece = one.recv(16_384)
                    left[one] = left.get(one, math.inf) - len(piece)
                    if self.cutting and left[one] < 0:
                        self.cuts["while sending" if one is client else "while answering"] += 1
                        # Not in the orderly way: a reset.
                        linger = b"\x01\x00\x00\x00\x00\x00\x00\x00"
                        client.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, linger)
                        return
                    if not piece:
                        return
                    other[one].sendall(piece)


def _some_bytes() -> float:
    """After how many a connection is cut: three of four never, the others early as often as late.

    More would leave a client no chance: a piece of a table has some megabytes, there and back.
    """
    if DRAW.random() < 0.75:
        return math.inf
    return math.exp(DRAW.uniform(math.log(5_000), math.log(3_000_000)))


@dataclass
class Trouble:
    """What makes it, and counts it."""

    replicas: list[Replica]
    proxy: Nginx
    relay: Relay
    made: Counter[str] = field(default_factory=Counter)
    over: threading.Event = field(default_factory=threading.Event)

    def all_made(self) -> int:
        return sum(self.made.values()) + sum(self.relay.cuts.values())

    def make(self) -> list[threading.Thread]:
        """Begin. It ends once it is said to be over."""
        self.relay.cutting = True
        makers = [(self.kill, 0.7), (self.restart, 12.0), (self.reload, 6.0)]
        threads = [threading.Thread(target=self._over_and_over, args=one) for one in makers]
        for thread in threads:
            thread.start()
        return threads

    def _over_and_over(self, make: Callable[[], None], every: float) -> None:
        while not self.over.wait(DRAW.uniform(0.5, 1.5) * every):
            make()

    def kill(self) -> None:
        # One that is being started anew has none.
        with suppress(OSError, IndexError):
            os.kill(DRAW.choice(DRAW.choice(self.replicas).workers()), signal.SIGKILL)
            self.made["a worker killed"] += 1

    def restart(self) -> None:
        self.replicas[1].stop()
        time.sleep(1)
        self.replicas[1].start()
        self.made["a replica stopped, and started a second later"] += 1

    def reload(self) -> None:
        self.proxy.reload()
        self.made["the proxy reloaded"] += 1
