"""The JSON form of what a report is drawn from."""

from typing import Any, Final

from weighworthy_service.wire.containers import ListOf
from weighworthy_service.wire.fields import Count, Strict
from weighworthy_service.wire.form import Form
from weighworthy_service.wire.request import said


class AnyObject(Strict[Any]):
    """A JSON object that is read elsewhere."""

    wanted = "an object"

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> Any:
        if not isinstance(value, dict):
            raise self.make_error("invalid")
        return value

    def keywords(self) -> dict[str, Any]:
        return {"type": "object"}


MOST_LINES: Final = 400


class ReportForm(Form):
    """An earlier answer, and the request that it answered."""

    answer = AnyObject(
        required=True,
        metadata=said(
            "Of a check, of a sitting, of `/v1/logbook/status`, of `/v1/logbook/drift`, or the "
            "last line of a batch, as it was answered."
        ),
    )
    lines = ListOf(
        AnyObject(),
        maximum=MOST_LINES,
        metadata=said("Of a batch: the lines that the report shall show, as they were answered."),
    )
    more_unusable = Count(
        0, 10**9, metadata=said("Of a batch: checks that let nothing be used, beyond the lines.")
    )
    more_refused = Count(0, 10**9, metadata=said("Of a batch: refusals of rows, beyond the lines."))
    request = AnyObject(metadata=said("Of a check: the request whose digest the answer names."))
