"""The header `traceparent`, by the examples and rules of W3C Trace Context (from memory)."""

import pytest

from weighworthy_service.web.trace_context import TraceContext, trace_context

TRACE, PARENT = "0af7651916cd43dd8448eb211c80319c", "b7ad6b7169203331"


@pytest.mark.parametrize(
    ("header", "sampled"),
    [
        (f"00-{TRACE}-{PARENT}-01", True),
        (f"00-{TRACE}-{PARENT}-00", False),
        (f"00-{TRACE}-{PARENT}-03", True),  # only the last bit says so
        (f"cc-{TRACE}-{PARENT}-01", True),  # a later version, as long as it begins alike
        (f"cc-{TRACE}-{PARENT}-01-what.may.come", True),
    ],
)
def test_a_valid_context_continues(header: str, sampled: bool) -> None:
    assert trace_context(header) == TraceContext(TRACE, PARENT, sampled)


@pytest.mark.parametrize(
    "header",
    [
        None,
        "",
        "kestrel",
        f"00-{TRACE}-{PARENT}",
        f"00-{TRACE}-{PARENT}-01-more",
        f"00-{TRACE.upper()}-{PARENT}-01",
        f"00-{TRACE[:-1]}-{PARENT}-01",
        f"00-{'0' * 32}-{PARENT}-01",
        f"00-{TRACE}-{'0' * 16}-01",
        f"ff-{TRACE}-{PARENT}-01",
        f"00-{TRACE}-{PARENT}-01\n",
        f" 00-{TRACE}-{PARENT}-01",
        f"00-{TRACE}-{PARENT}-01,00-{TRACE}-{PARENT}-01",
        f"cc-{TRACE}-{PARENT}-01.what",
    ],
)
def test_an_invalid_one_is_dropped(header: str | None) -> None:
    assert trace_context(header) is None
