"""How long one check takes: in this process, and over HTTP beside a route that does nothing.

`python tests/bench/single_check.py` prints a table. It is no test: figures depend on the machine.

The HTTP part starts two servers with the production settings, one worker each: the service, and a
bare Flask route that parses the same body and returns a constant answer of the same size. Requests
go to both in turns, over connections that are kept.
"""

import http.client
import json
import os
import socket
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from flask import Flask, Response, request

ROOT = Path(__file__).parents[2]
REQUESTS = 2000
WARM_UP = 300
BLOCK = 100


def bare() -> Flask:
    """A route that parses the body and returns a constant."""
    app = Flask("bare")
    answer = Path(os.environ["BENCH_ANSWER"]).read_bytes()

    @app.post("/<path:_any>")
    def route(_any: str) -> Response:
        json.loads(request.get_data())
        return Response(answer, content_type="application/json")

    @app.get("/readyz")
    def ready() -> str:
        return "ok"

    return app


@contextmanager
def server(application: str, **settings: str) -> Iterator[int]:
    """One worker with the production settings on a free port, which is given."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [sys.executable, "-m", "gunicorn", "-c", "service/gunicorn.conf.py"]
    process = subprocess.Popen(
        [*command, "--pythonpath", "tests/bench", application],
        cwd=ROOT,
        env={
            **os.environ,
            "WEIGHWORTHY_ANONYMOUS": "loopback",
            "WEIGHWORTHY_BIND": f"127.0.0.1:{port}",
            "WEIGHWORTHY_WORKERS": "1",
            **settings,
        },
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    try:
        _wait(port)
        yield port
    finally:
        process.terminate()
        process.wait()


def _wait(port: int) -> None:
    for _ in range(300):
        try:
            connection = http.client.HTTPConnection("127.0.0.1", port, timeout=5)
            connection.request("GET", "/readyz")
            connection.getresponse().read()
        except OSError:
            time.sleep(0.1)
        else:
            return
    raise SystemExit("a server did not start")


def timed(call: Callable[[], object], times: int) -> list[float]:
    """Duration of each call in s."""
    found = []
    for _ in range(times):
        started = time.perf_counter()
        call()
        found.append(time.perf_counter() - started)
    return found


def poster(port: int, path: str, body: bytes) -> Callable[[], bytes]:
    """A function that posts the body over one connection."""
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=30)

    def post() -> bytes:
        connection.request("POST", path, body, {"Content-Type": "application/json"})
        response = connection.getresponse()
        answer = response.read()
        assert response.status == 200, answer
        return answer

    return post


def show(name: str, durations: list[float], reference: float | None = None) -> float:
    """Print a line of the table; gives the median in s."""
    median = statistics.median(durations)
    high = statistics.quantiles(durations, n=20)[-1]
    ratio = "" if reference is None else f"{median / reference:8.2f}"
    print(f"{name:<44}{median * 1e6:12.0f}{high * 1e6:12.0f}{ratio}")
    return median


def in_process(tmp: Path) -> dict[str, tuple[bytes, Path]]:
    """Time the parts of each kind; gives each kind's body and a file with its answer."""
    from weighworthy_service.checks.answer import answer, request_digest
    from weighworthy_service.checks.registry import KINDS
    from weighworthy_service.json_text import to_bytes
    from weighworthy_service.profiles.finding import built_in, find_profile
    from weighworthy_service.profiles.resolve import terms_for
    from weighworthy_service.web.json import parse

    bodies = {}
    for kind in KINDS:
        body = json.dumps(kind.example["request"], ensure_ascii=False).encode()
        document = parse(body)
        asked = kind.form.load(document)
        profile = find_profile(asked.profile, built_in())
        terms = terms_for(profile, kind.slug, asked.check.circumstances)

        def whole(kind=kind, body=body) -> bytes:
            document = parse(body)
            asked = kind.form.load(document)
            terms = terms_for(find_profile(None, built_in()), kind.slug, asked.check.circumstances)
            return to_bytes(
                answer(
                    kind.evaluate(asked.check, terms),
                    profile=terms.profile,
                    version="0",
                    request_digest=request_digest(document, kind.slug),
                    labels=asked.labels,
                )
            )

        said = whole()
        print(f"-- {kind.slug}: {len(body)} bytes in, {len(said)} bytes out")
        parts: dict[str, Callable[[], object]] = {
            "parse": lambda body=body: parse(body),
            "load": lambda kind=kind, document=document: kind.form.load(document),
            "terms": lambda kind=kind, profile=profile, asked=asked: terms_for(
                profile, kind.slug, asked.check.circumstances
            ),
            "evaluate": lambda kind=kind, asked=asked, terms=terms: kind.evaluate(
                asked.check, terms
            ),
            "digest": lambda kind=kind, document=document: request_digest(document, kind.slug),
            "body in, bytes out": whole,
        }
        for name, call in parts.items():
            timed(call, 100)
            show(f"   {name}", timed(call, REQUESTS))
        file = tmp / f"{kind.slug}.json"
        file.write_bytes(said)
        bodies[kind.slug] = (body, file)
    return bodies


def over_http(slug: str, body: bytes, answer: Path) -> None:
    """Time posts to the service and to the bare route, in turns."""
    path = f"/v1/checks/{slug}"
    with (
        server("weighworthy_service.web.wsgi:application") as ours,
        server("single_check:bare()", BENCH_ANSWER=str(answer)) as theirs,
    ):
        service, nothing = poster(ours, path, body), poster(theirs, path, body)
        timed(service, WARM_UP)
        timed(nothing, WARM_UP)
        to_service: list[float] = []
        to_nothing: list[float] = []
        for _ in range(REQUESTS // BLOCK):
            to_service += timed(service, BLOCK)
            to_nothing += timed(nothing, BLOCK)
    reference = show(f"{slug}: bare route", to_nothing)
    show(f"{slug}: service", to_service, reference)


def main() -> None:
    import tempfile

    print(f"{'':<44}{'median µs':>12}{'95 % µs':>12}{'ratio':>8}")
    with tempfile.TemporaryDirectory() as folder:
        bodies = in_process(Path(folder))
        print("-- over HTTP, one worker, connection kept")
        for slug, (body, answer) in bodies.items():
            over_http(slug, body, answer)


if __name__ == "__main__":
    main()
