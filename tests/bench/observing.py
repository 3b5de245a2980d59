"""What a request costs more because it is seen from outside: its line in the log and its counts.

`python tests/bench/observing.py` prints a table. It is no test: figures depend on the machine.

One check is asked for in this process, of a service without and of one with both, in turns; counts
are kept as a server of several workers keeps them, and lines go to /dev/null.
"""

import gc
import io
import statistics
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from weighworthy_service.web import metrics_folder

metrics_folder.prepare()  # before what counts is imported

from weighworthy_service.web.app import create_app  # noqa: E402
from weighworthy_service.web.metrics import process_metrics  # noqa: E402
from weighworthy_service.web.observing import observe  # noqa: E402
from weighworthy_service.web.request_log import request_log  # noqa: E402

BODY = (Path(__file__).parents[2] / "examples" / "kestrel" / "simulated_loss.json").read_bytes()
ROUNDS, BLOCK = 60, 50
TRACE = "00-0af7651916cd43dd8448eb211c80319c-b7ad6b7169203331-01"


def asked(app: Callable[..., Any]) -> None:
    """One check, to the last byte, and closed as a server does."""
    environ = {
        "REQUEST_METHOD": "POST",
        "SCRIPT_NAME": "",
        "PATH_INFO": "/v1/checks/simulated-loss",
        "QUERY_STRING": "",
        "SERVER_NAME": "127.0.0.1",
        "SERVER_PORT": "8000",
        "SERVER_PROTOCOL": "HTTP/1.1",
        "REMOTE_ADDR": "127.0.0.1",
        "CONTENT_TYPE": "application/json",
        "CONTENT_LENGTH": str(len(BODY)),
        "HTTP_TRACEPARENT": TRACE,
        "wsgi.version": (1, 0),
        "wsgi.url_scheme": "http",
        "wsgi.input": io.BytesIO(BODY),
        "wsgi.errors": io.StringIO(),
        "wsgi.multithread": True,
        "wsgi.multiprocess": True,
        "wsgi.run_once": False,
    }
    answer = app(environ, lambda _status, _headers, _error=None: None)
    assert b"".join(answer).startswith(b'{"check"')
    answer.close()


def block(app: Callable[..., Any]) -> float:
    """CPU time of a request, in µs, of a block of them."""
    begin = time.process_time()
    for _ in range(BLOCK):
        asked(app)
    return (time.process_time() - begin) / BLOCK * 1e6


def main() -> None:
    with Path("/dev/null").open("wb") as nowhere:
        metrics = process_metrics()
        apps = {
            "alone": create_app(),
            "seen from outside": observe(create_app(), metrics, request_log(nowhere)),
        }
        times: dict[str, list[float]] = {name: [] for name in apps}
        for app in apps.values():
            block(app)
        gc.disable()
        for _ in range(ROUNDS):
            for name, app in apps.items():
                times[name].append(block(app))
    # The best says most on a machine that others use too.
    for what, of in (("median", statistics.median), ("best", min)):
        alone, seen = (of(found) for found in times.values())
        more = f"{seen - alone:6.1f} µs more, {(seen - alone) / alone:.1%}"
        print(f"{what:8} alone {alone:7.1f} µs, seen from outside {seen:7.1f} µs: {more}")


if __name__ == "__main__":
    main()
