"""How long one client waits while fifty others are slow: by worker class, bare and behind nginx.

`python tests/bench/slow_clients.py [-o report.md]` starts one worker of four threads of each class
in turn, and the nginx of `service/deploy/nginx` before it. Fifty clients stop in the middle of a
head, of a body, of a large one, of a table, or ask for more than a system holds for them and never
read it: an open document again and again, or the answer to a table. Then one more posts a check,
and its time is taken: the worst of three. `>` means that it gave up.

Of tables, only as many as are judged at once get as far as an answer of which much is left; the
others are refused. The class `sync` has no threads: gunicorn takes another where it is given some.
"""

import argparse
import json
import os
import socket
import ssl
import tempfile
import time
from collections.abc import Callable
from contextlib import ExitStack, suppress
from datetime import UTC, datetime
from pathlib import Path

import requests
from behind_nginx import KEY, Nginx, Replica, nginx

from weighworthy_service.checks.registry import BY_SLUG

MANY = 50
GIVES_UP = 8.0
CHECK = "/v1/checks/simulated-loss"
REQUEST = BY_SLUG["simulated-loss"].example["request"]
# Of gunicorn itself, and ours; that of production last.
CLASSES = ("sync", "gthread", "weighworthy_service.web.worker.Worker")


def _head(path: str, length: int, kind: str = "application/json") -> bytes:
    lines = [
        f"POST {path} HTTP/1.1",
        "Host: 127.0.0.1",
        f"Authorization: Bearer {KEY}",
        f"Content-Type: {kind}",
        f"Content-Length: {length}",
    ]
    return "\r\n".join([*lines, "", ""]).encode()


# Little to send, and some ten megabytes to answer: more than the system holds for who is slow.
_DEFAULTS = {"defaults": {"check": "simulated-loss", **REQUEST}}
_LINES = json.dumps(_DEFAULTS).encode() + b"\n" + 3000 * b"{}\n"
READERS = "readers of tables"
_DOCUMENT = b"GET /openapi.json HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n"
DOCUMENTS = "readers of documents"
SLOW = {
    "heads": _head(CHECK, 10)[:-20],
    "bodies": _head(CHECK, 5000) + b'{"instrument"',
    "large bodies": _head(CHECK, 500_000) + b'{"instrument"',
    "tables": _head("/v1/batches", 500_000, "text/csv") + b"a;b;c\r\n",
    DOCUMENTS: _DOCUMENT * 12,
    READERS: _head("/v1/batches", len(_LINES), "application/x-ndjson") + _LINES,
}


def bare(replica: Replica) -> socket.socket:
    """A connection that takes little of an answer before somebody reads."""
    return _narrow(replica.port)


def through(proxy: Nginx) -> socket.socket:
    """The same, with TLS."""
    context = ssl.create_default_context(cafile=proxy.certificate)
    return context.wrap_socket(_narrow(proxy.port), server_hostname="127.0.0.1")


def _narrow(port: int) -> socket.socket:
    raw = socket.socket()
    # Before it connects, for the other side hears then how much it may send.
    raw.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
    raw.settimeout(20)
    raw.connect(("127.0.0.1", port))
    return raw


def one_more(
    address: str, certificate: Path, opened: Callable[[], socket.socket], slow: str
) -> float | None:
    """How long a check takes beside `MANY` slow clients, in s; None: no answer in time."""
    with ExitStack() as stack, requests.Session() as session:
        session.trust_env = False
        session.verify = str(certificate)
        with suppress(requests.RequestException):
            # Made when it is first asked for, which takes a second.
            session.get(address + "/openapi.json", timeout=GIVES_UP)
            session.close()
        for _ in range(MANY):
            raw = stack.enter_context(opened())
            # A server with no place left may take no more than the system holds for it.
            raw.settimeout(1)
            try:
                raw.sendall(SLOW[slow])
            except OSError:
                continue
        # The work that is asked for is no slowness: some tables are judged in that time.
        time.sleep(3 if slow in (READERS, DOCUMENTS) else 0.5)
        begin = time.monotonic()
        headers = {"Authorization": f"Bearer {KEY}"}
        try:
            said = session.post(address + CHECK, json=REQUEST, headers=headers, timeout=GIVES_UP)
            said.raise_for_status()
        except requests.RequestException:
            return None
        return time.monotonic() - begin


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("-o", "--out", type=Path)
    parser.add_argument("--times", type=int, default=3)
    asked = parser.parse_args()
    before = os.getloadavg()[0]
    now = f"{datetime.now(UTC):%Y-%m-%d %H:%M} UTC"
    what = f"seconds until a check is answered beside {MANY} slow clients, worst of {asked.times}"
    threads = "one worker of four threads, `sync` of one"
    where = f"{threads}; {os.cpu_count()} cores, load {before:.1f} before"
    lines = [
        "# Slow clients\n",
        f"{now}, `python tests/bench/slow_clients.py`: {what}; {where}.\n",
        f"| worker class | way | {' | '.join(SLOW)} |",
        f"|---|---|{'---|' * len(SLOW)}",
    ]
    for worker in CLASSES:
        with tempfile.TemporaryDirectory() as text:
            folder = Path(text)
            settings = {
                "WEIGHWORTHY_WORKERS": "1",
                "WEIGHWORTHY_THREADS": "1" if worker == "sync" else "4",
                "WEIGHWORTHY_REQUEST_SECONDS": "60",
            }
            replica = Replica(folder, settings, ("--worker-class", worker))
            replica.start()
            try:
                with nginx(folder, replica.port) as proxy:
                    for way, address, opened in (
                        ("bare", replica.address, lambda: bare(replica)),  # noqa: B023
                        ("nginx", proxy.address, lambda: through(proxy)),
                    ):
                        cells = []
                        for slow in SLOW:
                            certificate = proxy.certificate
                            found = [
                                one_more(address, certificate, opened, slow)
                                for _ in range(asked.times)
                            ]
                            took = [one for one in found if one is not None]
                            full = len(took) == len(found)
                            cells.append(f"{max(took):.2f}" if full else f"> {GIVES_UP:.0f}")
                        lines.append(f"| `{worker}` | {way} | {' | '.join(cells)} |")
                        print(lines[-1], flush=True)
            finally:
                assert replica.process is not None
                replica.process.kill()
                replica.process.wait()
    report = "\n".join(lines) + "\n"
    print(report)
    if asked.out:
        asked.out.write_text(report, "utf-8")


if __name__ == "__main__":
    main()
