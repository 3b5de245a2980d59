"""The JSON form of the lines in which a batch is answered. Never used to write them."""

from typing import Final

from weighworthy_service.wire.containers import Part
from weighworthy_service.wire.fields import Flag
from weighworthy_service.wire.request import said
from weighworthy_service.wire.responses import AnswerForm
from weighworthy_service.wire.shown import Said, Shown, listed, text

_NAMES: Final = {"type": "array", "items": {"type": "string"}}
_COUNT: Final = {"type": "integer", "minimum": 0}
_ROWS: Final = {"type": "array", "items": {"type": "integer", "minimum": 1}, "minItems": 1}


def _rows() -> Shown:
    sentence = "Rows of the file, from 1, that make the check; of lines, the line."
    return Shown(_ROWS, metadata=said(sentence))


def _sheet() -> Shown:
    return Shown({"type": "string"}, null=True, metadata=said("Of typed cells of a workbook."))


class BatchAnswerForm(Said):
    """A check that was judged."""

    sheet = _sheet()
    rows = _rows()
    answer = Part(AnswerForm, required=True, metadata=said("As the check sent alone gets it."))


class RowErrorForm(Said):
    pointer = text("JSON pointer (RFC 6901) into the request that the rows make.")
    code = text("For programs. May grow.")
    detail = text("For people.")
    sheet = _sheet()
    row = Shown({"type": "integer"}, null=True, metadata=said("Where the fault shows."))
    column = text("Names of its columns; null: no cell.", null=True)
    cell = text("What is written there, its beginning.", null=True)


class RowProblemForm(Said):
    type = text("As of a refused request; `group-incomplete`: a row of the same check is faulty.")
    title = text()
    status = Shown({"type": "integer"}, metadata=said("That the check alone would have had."))
    detail = text()
    errors = listed(RowErrorForm)


class BatchProblemForm(Said):
    """Rows that could not be judged. The others are."""

    sheet = _sheet()
    rows = _rows()
    problem = Part(RowProblemForm, required=True)
    labels = Shown(
        {"type": "object", "additionalProperties": {"type": "string"}},
        metadata=said("Of the request, as far as they could be read."),
    )


class ReadAsForm(Said):
    encoding = text(null=True)
    delimiter = text(null=True)
    decimal = text(null=True)
    thousands = text("What separates groups of three digits.", null=True)
    header_row = Shown({"type": "integer"}, null=True, metadata=said("0: there is none."))
    sheet = text("Of a workbook.", null=True)
    stated = Shown(_NAMES, metadata=said("Which of them the mapping fixed."))
    assumed = Shown(_NAMES, metadata=said("Which of them nothing in the file decided."))


class SummaryForm(Said):
    complete = Flag(required=True, metadata=said("false: the answer broke off, and is not whole."))
    broken_by = text("Why it is not complete.", null=True)
    rows_in = Shown(_COUNT, metadata=said("All rows but that of the header or the defaults."))
    rows_judged = Shown(_COUNT)
    rows_in_error = Shown(_COUNT)
    rows_skipped = Shown(_COUNT, metadata=said("Blank and title rows, and what is no check."))
    checks = Shown(_COUNT, metadata=said("That were judged; of one row or more."))
    verdicts = Shown(
        {"type": "object", "additionalProperties": _COUNT},
        metadata=said("How many checks have which; `none`: nothing could be judged."),
    )
    read_as = Part(ReadAsForm, required=True, metadata=said("How the table was understood."))


class BatchSummaryForm(Said):
    """The last line, exactly once. `rows_in` is the sum of judged, in error and skipped."""

    summary = Part(SummaryForm, required=True)
