"""What is written of each request, a JSON object a line: that it came, never what it said.

No reading, no name, no id of an instrument, no query, no body and no key stands in it.
"""

import json
import logging
import sys
from typing import Any, BinaryIO, Final

import structlog
from structlog.typing import EventDict, Processor

_ENCODER: Final = json.JSONEncoder(ensure_ascii=False, separators=(",", ":"), default=str)
_STAMP: Final = structlog.processors.TimeStamper(fmt="iso", utc=True)


def _json(_logger: Any, _name: str, event: EventDict) -> str:
    return _ENCODER.encode(event)


def _json_bytes(_logger: Any, _name: str, event: EventDict) -> bytes:
    return _ENCODER.encode(event).encode("utf-8", "backslashreplace")


def request_log(output: BinaryIO | None = None) -> structlog.typing.FilteringBoundLogger:
    """The logger of requests, onto standard output by default; a line is one write."""
    logger: structlog.typing.FilteringBoundLogger = structlog.wrap_logger(
        structlog.BytesLogger(sys.stdout.buffer if output is None else output),
        processors=[structlog.processors.add_log_level, _STAMP, _json_bytes],
        wrapper_class=structlog.make_filtering_bound_logger(logging.INFO),
        cache_logger_on_first_use=True,
    )
    return logger


def json_formatter() -> logging.Formatter:
    """Writes what other code logs (the server, errors of ours) as lines of the same form."""
    before: list[Processor] = [
        structlog.stdlib.add_log_level,
        structlog.stdlib.add_logger_name,
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
