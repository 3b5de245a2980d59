"""Spans as OpenTelemetry's own library keeps them; and that nothing of it is needed."""

import subprocess
import sys
from collections.abc import Iterator

import pytest
from opentelemetry.sdk.trace import TracerProvider
from opentelemetry.sdk.trace.export import SimpleSpanProcessor
from opentelemetry.sdk.trace.export.in_memory_span_exporter import InMemorySpanExporter
from opentelemetry.sdk.trace.sampling import ParentBased, TraceIdRatioBased
from opentelemetry.trace import StatusCode

from weighworthy_service.web.trace_context import TraceContext
from weighworthy_service.web.tracing import is_traced, traced, use_tracer

TRACE, PARENT = "0af7651916cd43dd8448eb211c80319c", "b7ad6b7169203331"
ENDPOINT = {"OTEL_EXPORTER_OTLP_ENDPOINT": "http://127.0.0.1:1"}


@pytest.fixture
def spans() -> Iterator[InMemorySpanExporter]:
    """Spans of requests whose callers sample them; of others by themselves none."""
    found = InMemorySpanExporter()
    provider = TracerProvider(sampler=ParentBased(TraceIdRatioBased(0)))
    provider.add_span_processor(SimpleSpanProcessor(found))
    use_tracer(provider.get_tracer("tests"))
    yield found
    use_tracer(None)


def made(trace: TraceContext | None, status: int = 200) -> dict[str, str] | None:
    return traced(trace, "GET", "/v1/info", status, ended=5_000_000_000, seconds=2.0)


def test_a_span_lasts_as_long_as_its_request(spans: InMemorySpanExporter) -> None:
    ids = made(TraceContext(TRACE, PARENT, True))
    (span,) = spans.get_finished_spans()
    assert (span.start_time, span.end_time) == (3_000_000_000, 5_000_000_000)
    assert span.parent is not None
    assert f"{span.parent.span_id:016x}" == PARENT
    assert ids == {"trace_id": TRACE, "span_id": f"{span.context.span_id:016x}"}
    assert span.status.status_code is StatusCode.UNSET


def test_only_failures_of_the_service_are_errors(spans: InMemorySpanExporter) -> None:
    for status in (422, 500):
        made(TraceContext(TRACE, PARENT, True), status)
    refused, failed = spans.get_finished_spans()
    assert refused.status.status_code is StatusCode.UNSET
    assert failed.status.status_code is StatusCode.ERROR


def test_the_caller_decides_what_is_sampled(spans: InMemorySpanExporter) -> None:
    ids = made(TraceContext(TRACE, PARENT, False))
    assert ids is not None
    assert ids["trace_id"] == TRACE
    made(None)
    assert spans.get_finished_spans() == ()


def test_without_a_tracer_there_are_no_spans() -> None:
    assert made(TraceContext(TRACE, PARENT, True)) is None


def test_traces_are_off_until_the_environment_says_where_to() -> None:
    assert not is_traced({})
    assert not is_traced({"OTEL_SERVICE_NAME": "kestrel"})
    assert is_traced(ENDPOINT)


def test_without_the_extra_it_is_said_and_all_goes_on(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setitem(sys.modules, "opentelemetry.exporter.otlp.proto.http.trace_exporter", None)
    assert not is_traced(ENDPOINT)
    assert "weighworthy[otel]" in caplog.text


def test_a_server_that_sends_none_loads_nothing_of_it() -> None:
    code = (
        "import sys, weighworthy_service.web.wsgi\n"
        "from weighworthy_service.web.tracing import is_traced\n"
        "is_traced({})\n"
        "sys.exit(any(name.startswith('opentelemetry') for name in sys.modules))"
    )
    environment = {"WEIGHWORTHY_ANONYMOUS": "yes"}
    done = subprocess.run([sys.executable, "-c", code], env=environment, check=False)
    assert done.returncode == 0
