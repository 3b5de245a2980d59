"""What is written of each request, a JSON object a line: that it came, never what it said.

No reading, no name, no id of an instrument, no query, no body and no key stands in it.
"""

import json
import logging
import sys
from datetime import UTC, datetime
from typing import Any, BinaryIO, Final

import structlog
from structlog.typing import EventDict, Processor

_ENCODER: Final = json.JSONEncoder(ensure_ascii=False, separators=(",", ":"), default=str)
_UTC: Final = "+00:00"
_STAMP: Final = structlog.processors.TimeStamper(fmt="iso", utc=True)


def _json(_logger: Any, _name: str, event: EventDict) -> str:
    return _ENCODER.encode(event)


def _line(_logger: Any, level: str, event: EventDict) -> bytes:
    # One step instead of one each: this is done for every request.
    event["level"] = level
    event["timestamp"] = datetime.now(UTC).isoformat(timespec="milliseconds")[: -len(_UTC)] + "Z"
    return _ENCODER.encode(event).encode("utf-8", "backslashreplace")


def request_log(output: BinaryIO | None = None) -> structlog.typing.FilteringBoundLogger:
    """The logger of requests, onto standard output by default; a line is one write."""
    logger: structlog.typing.FilteringBoundLogger = structlog.wrap_logger(
        structlog.BytesLogger(sys.stdout.buffer if output is None else output),
        processors=[_line],
        wrapper_class=structlog.make_filtering_bound_logger(logging.INFO),
    ).bind()
    return logger


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
