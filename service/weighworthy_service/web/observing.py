"""A service seen from outside: a line in the log and counts for every request, and `/metrics`.

Only what a server runs is observed; inside another program nothing is written and counted.
"""

import re
from collections.abc import Callable
from contextlib import suppress
from functools import cache, partial
from time import perf_counter, time_ns
from typing import Any, Final, NamedTuple

from flask import Flask, Response, current_app
from flask.globals import app_ctx, request_ctx
from prometheus_client import CONTENT_TYPE_LATEST

from weighworthy_service.profiles.store import ProfileSet
from weighworthy_service.tables.tally import Tally
from weighworthy_service.web.metrics import OTHER, Metrics, in_force
from weighworthy_service.web.request_log import RequestLog
from weighworthy_service.web.room import room_of
from weighworthy_service.web.trace_context import TraceContext, trace_context
from weighworthy_service.web.tracing import traced
from weighworthy_service.web.views import NOT_RELOADED

METRICS: Final = "/metrics"
_BEGAN: Final = "weighworthy.began"
# Asked all the time by machines, and worth a line only when they are not well.
_PROBES: Final = frozenset({"/livez", "/readyz", METRICS})
_METHODS: Final = frozenset({"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"})
_UNMATCHED: Final = "unmatched"
_VARIABLE: Final = re.compile("<(?:[^:<>]*:)?([^<>]+)>")


class _Observed(NamedTuple):
    """What is known of a request before its answer is sent. `began` in s of `perf_counter`."""

    began: float
    request_id: str
    trace: TraceContext | None
    method: str
    route: str
    status: int
    problem: str | None
    client: str | None
    tally: Tally | None


def observe(app: Flask, metrics: Metrics, log: RequestLog) -> Flask:
    """The application, observed from now on."""
    profiles: ProfileSet = app.extensions["weighworthy.profiles"]
    names = {profile.identity.digest: profile.identity.id for profile in profiles.all()}
    room_of(app).told = metrics.heavy.inc
    app.wsgi_app = _timed(app.wsgi_app)  # type: ignore[method-assign]

    @app.after_request
    def watch(response: Response) -> Response:
        # The rest when all is sent: the client waits for none of it, and an answer that is made
        # while it is sent has been made.
        response.call_on_close(partial(_done, _observed(response), metrics, names, log))
        return response

    @app.get(METRICS)
    def told() -> Response:
        refused = bool(current_app.config.get(NOT_RELOADED))
        body = metrics.exposition() + in_force(profiles, reload_refused=refused)
        return Response(body, content_type=CONTENT_TYPE_LATEST)

    return app


def _timed(inner: Callable[..., Any]) -> Callable[..., Any]:
    def timed(environ: dict[str, Any], start_response: Callable[..., Any]) -> Any:
        environ[_BEGAN] = perf_counter()
        return inner(environ, start_response)

    return timed


def _observed(response: Response) -> _Observed:
    # Each way through a proxy of Flask's is longer than all that is read here.
    here, said = request_ctx.request, app_ctx.g
    environ, rule, status = here.environ, here.url_rule, response.status_code
    method = environ["REQUEST_METHOD"]
    return _Observed(
        environ[_BEGAN],
        said.request_id,
        trace_context(environ.get("HTTP_TRACEPARENT")),
        method if method in _METHODS else OTHER,
        _UNMATCHED if rule is None else _template(rule.rule),
        status,
        said.get("problem"),
        # Who tried to get in must be told; of all others it is nobody's business.
        here.remote_addr if status in (401, 403) else None,
        said.get("tally"),
    )


@cache
def _template(rule: str) -> str:
    """A rule of the application as addresses are written in the OpenAPI document."""
    return _VARIABLE.sub(r"{\1}", rule)


def _done(seen: _Observed, metrics: Metrics, names: dict[str, str], log: RequestLog) -> None:
    seconds = perf_counter() - seen.began
    metrics.request(seen.route, seen.method, seen.status, seconds)
    if seen.tally is not None:
        metrics.tally(seen.tally, names)
    span = traced(
        seen.trace, seen.method, seen.route, seen.status, ended=time_ns(), seconds=seconds
    )
    if seen.route in _PROBES and seen.status < 400:
        return
    told: dict[str, Any] = {
        "method": seen.method,
        "route": seen.route,
        "status": seen.status,
        "duration_s": round(seconds, 6),
        "request_id": seen.request_id,
    }
    if seen.trace is not None:
        told.update(seen.trace._asdict())
    if span is not None:
        told.update(span)
    if seen.problem is not None:
        told["problem"] = seen.problem
    if seen.client is not None:
        told["client"] = seen.client
    level = "info" if seen.status < 400 else "warning" if seen.status < 500 else "error"
    # Where nobody takes the line any more, there is nobody to tell that.
    with suppress(OSError):
        log(level, told)
