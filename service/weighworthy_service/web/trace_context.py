"""The trace that a request belongs to, as its header `traceparent` says (W3C Trace Context)."""

import re
from typing import Final, NamedTuple

_FORM: Final = re.compile("([0-9a-f]{2})-([0-9a-f]{32})-([0-9a-f]{16})-([0-9a-f]{2})(-.*)?")
_SAMPLED: Final = 0x01


class TraceContext(NamedTuple):
    """Identifiers in hexadecimal digits, 32 and 16 of them; `parent_id` is the caller's span."""

    trace_id: str
    parent_id: str
    sampled: bool


def trace_context(header: str | None) -> TraceContext | None:
    """The context of a header; None where there is none, or none that is valid.

    Source: W3C Recommendation "Trace Context", sections 3.2.2 and 3.3 (from memory): lower case
    only, no identifier of zeros alone, version ff forbidden, version 00 with exactly four parts;
    of later versions the first four are read.
    """
    found = _FORM.fullmatch(header) if header else None
    if found is None:
        return None
    version, trace_id, parent_id, flags, more = found.groups()
    if version == "ff" or (version == "00" and more) or not trace_id.strip("0"):
        return None
    if not parent_id.strip("0"):
        return None
    return TraceContext(trace_id, parent_id, bool(int(flags, 16) & _SAMPLED))
