"""What is written of each request, a JSON object a line: that it came, never what it said.

No reading, no name, no id of an instrument, no query, no body and no key stands in it.
"""

import json
import logging
import sys
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any, BinaryIO, Final

import structlog
from structlog.typing import EventDict, Processor

# Takes the level of a line, and what it tells.
RequestLog = Callable[[str, dict[str, Any]], None]
_ENCODER: Final = json.JSONEncoder(ensure_ascii=False, separators=(",", ":"), default=str)
_UTC: Final = "+00:00"
_STAMP: Final = structlog.processors.TimeStamper(fmt="iso", utc=True)


def _json(_logger: Any, _name: str, event: EventDict) -> str:
    return _ENCODER.encode(event)


def request_log(output: BinaryIO | None = None) -> RequestLog:
    """Writes lines of requests, onto standard output by default; a line is one write.

    Without structlog's chain of steps, which took longer than the line: this is done for every
    request.
    """
    write = structlog.BytesLogger(sys.stdout.buffer if output is None else output).msg

    def line(level: str, told: dict[str, Any]) -> None:
        now = datetime.now(UTC).isoformat(timespec="milliseconds")[: -len(_UTC)] + "Z"
        event = {**told, "event": "request", "level": level, "timestamp": now}
        write(_ENCODER.encode(event).encode("utf-8", "backslashreplace"))

    return line


def json_formatter() -> logging.Formatter:
    """Writes what other code logs (the server, errors of ours) as lines of the same form."""
    before: list[Processor] = [
        structlog.stdlib.add_log_level,
        structlog.stdlib.add_logger_name,
        structlog.stdlib.ExtraAdder(allow=("request_id",)),
        _STAMP,
    ]
    return structlog.stdlib.ProcessorFormatter(
        foreign_pre_chain=before,
        processors=[
            structlog.stdlib.ProcessorFormatter.remove_processors_meta,
            structlog.processors.format_exc_info,
            _json,
        ],
    )
