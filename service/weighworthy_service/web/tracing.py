"""A span for each request, sent by OpenTelemetry where the extra `otel` is there and is set up.

Set up by the variables of OpenTelemetry itself: without OTEL_EXPORTER_OTLP_ENDPOINT (or
OTEL_EXPORTER_OTLP_TRACES_ENDPOINT) nothing is imported, made or sent.
"""

import logging
import os
from collections.abc import Mapping
from typing import Any, Final

from weighworthy_service.web.trace_context import TraceContext

_ENDPOINTS: Final = ("OTEL_EXPORTER_OTLP_ENDPOINT", "OTEL_EXPORTER_OTLP_TRACES_ENDPOINT")
_LOG: Final = logging.getLogger("weighworthy_service")
# The tracer of this process. A worker starts its own: threads that send do not survive a fork.
_TRACERS: Final[list[Any]] = []


def is_traced(environment: Mapping[str, str]) -> bool:
    """Whether spans can be sent, and the environment says where to. What sends them is imported:
    once in the process from which workers are forked, or each would need seconds to begin."""
    if not any(environment.get(name) for name in _ENDPOINTS):
        return False
    try:
        import opentelemetry.exporter.otlp.proto.http.trace_exporter  # noqa: PLC0415
        import opentelemetry.sdk.trace.export  # noqa: F401, PLC0415
    except ImportError:
        _LOG.warning("no traces are sent: install weighworthy[otel]")
        return False
    return True


def start_tracing() -> None:
    """Send spans from this process on, which must be able to."""
    from opentelemetry.exporter.otlp.proto.http.trace_exporter import (  # noqa: PLC0415
        OTLPSpanExporter,
    )
    from opentelemetry.sdk.resources import Resource  # noqa: PLC0415
    from opentelemetry.sdk.trace import TracerProvider  # noqa: PLC0415
    from opentelemetry.sdk.trace.export import BatchSpanProcessor  # noqa: PLC0415

    name = os.environ.get("OTEL_SERVICE_NAME") or "weighworthy"
    provider = TracerProvider(resource=Resource.create({"service.name": name}))
    provider.add_span_processor(BatchSpanProcessor(OTLPSpanExporter()))
    use_tracer(provider.get_tracer("weighworthy_service"))


def use_tracer(tracer: Any) -> None:
    """Make spans by this tracer; None: make no more."""
    _TRACERS[:] = [] if tracer is None else [tracer]


def traced(
    trace: TraceContext | None,
    method: str,
    route: str,
    status: int,
    *,
    ended: int,
    seconds: float,
) -> dict[str, str] | None:
    """Make the span of a request that is answered; its ids, None where none are made.

    `ended` in ns since 1970. Names are those of OpenTelemetry's conventions for HTTP servers.
    """
    if not _TRACERS:
        return None
    from opentelemetry.trace import SpanKind, StatusCode, format_span_id, format_trace_id  # noqa: PLC0415

    span = _TRACERS[0].start_span(
        f"{method} {route}",
        context=None if trace is None else _parent(trace),
        kind=SpanKind.SERVER,
        start_time=ended - int(seconds * 1e9),
        attributes={
            "http.request.method": method,
            "http.route": route,
            "http.response.status_code": status,
        },
    )
    if status >= 500:
        span.set_status(StatusCode.ERROR)
    span.end(end_time=ended)
    made = span.get_span_context()
    return {"trace_id": format_trace_id(made.trace_id), "span_id": format_span_id(made.span_id)}


def _parent(trace: TraceContext) -> Any:
    from opentelemetry.trace import (  # noqa: PLC0415
        NonRecordingSpan,
        SpanContext,
        TraceFlags,
        set_span_in_context,
    )

    flags = TraceFlags(TraceFlags.SAMPLED if trace.sampled else TraceFlags.DEFAULT)
    parent = SpanContext(int(trace.trace_id, 16), int(trace.parent_id, 16), True, flags)
    return set_span_in_context(NonRecordingSpan(parent))
