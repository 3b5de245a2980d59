"""gunicorn's own log, in the form of the other lines, without what clients have sent."""

import logging
import sys
from typing import Any, Final

from gunicorn.glogging import Logger  # type: ignore[import-untyped]

from weighworthy_service.web.request_log import json_formatter

# How gunicorn begins what it says of a request that is none; a header or address follows, and in
# it, by mistake, a key.
_REFUSED: Final = "Invalid request"
_FAILED: Final = "Error handling request"


class Discreet(logging.Filter):
    """Lets everything pass, without the parts that clients chose."""

    def filter(self, record: logging.LogRecord) -> bool:
        """Take out what was sent; the kind of fault stays."""
        if isinstance(record.msg, str) and record.msg.startswith((_REFUSED, _FAILED)):
            kind = sys.exc_info()[0]
            known = _REFUSED if record.msg.startswith(_REFUSED) else _FAILED
            record.msg, record.args = f"{known}: {kind.__name__ if kind else 'unknown'}", ()
        return True


class ServerLog(Logger):  # type: ignore[misc]
    """Instead of gunicorn's, whose access log is off: the application writes a line a request."""

    def setup(self, cfg: Any) -> None:
        """Give every handler of gunicorn our form, and one to what the service itself logs."""
        super().setup(cfg)
        for handler in self.error_log.handlers:
            handler.setFormatter(json_formatter())
        if not any(isinstance(one, Discreet) for one in self.error_log.filters):
            self.error_log.addFilter(Discreet())
        root = logging.getLogger()
        root.handlers[:] = self.error_log.handlers
        root.setLevel(logging.WARNING)
