"""Many checks in one request: the whole body is read, then the answer is streamed."""

from collections.abc import Iterable, Iterator, Mapping
from contextlib import ExitStack
from dataclasses import dataclass, field, replace
from typing import Any, Final

from flask import Response, g, request

from weighworthy_service.profiles.refusal import refusal_of
from weighworthy_service.tables.added import ADDED
from weighworthy_service.tables.answers import (
    MOST_TEXTS,
    Text,
    answer_lines,
    in_pieces,
    summary_line,
    texts,
)
from weighworthy_service.tables.csv_answer import csv_answer
from weighworthy_service.tables.finder import AtHand
from weighworthy_service.tables.ndjson import READ_AS as LINES_READ_AS
from weighworthy_service.tables.ndjson import judge_lines, open_lines
from weighworthy_service.tables.outcome import Counts, RowOutcome
from weighworthy_service.tables.quick import Judge
from weighworthy_service.tables.run import Run
from weighworthy_service.tables.table import Table
from weighworthy_service.tables.writing import Layout
from weighworthy_service.web.addresses import Known, Views
from weighworthy_service.web.asking import best_type, parameter_faults
from weighworthy_service.web.batch_asked import asked_mapping, asked_profile, refuse_unusable
from weighworthy_service.web.batch_body import CSV, BatchBody, read_batch
from weighworthy_service.web.batch_read_as import READ_AS, read_as_header
from weighworthy_service.web.batch_stream import closed, timed, within
from weighworthy_service.web.batch_table import opened_by
from weighworthy_service.web.page_asked import HTML, LANGUAGE
from weighworthy_service.web.room import heavy
from weighworthy_service.web.spooled_lines import NDJSON
from weighworthy_service.web.views import VERSION
from weighworthy_service.wire.coded import FieldError

ROWS_IN: Final = "Weighworthy-Rows-In"
_PARAMETERS: Final = {
    "mapping": None,
    "profile": None,
    "first_row": None,
    "columns": ("all", "added"),
    "detail": ("full", "short"),
    **LANGUAGE,
}
_BOM: Final = b"\xef\xbb\xbf"


@dataclass(frozen=True, slots=True)
class _Answer:
    """Pieces of a body that is made while it is sent, and what is known before."""

    type: str
    pieces: Iterator[bytes]
    headers: Mapping[str, str] = field(default_factory=dict)


def views(known: Known) -> Views:
    """The address of batches."""
    profiles, limits = known.profiles, known.limits

    @heavy
    def batches() -> Response:
        _refuse_parameters()
        wanted = best_type((NDJSON, CSV, HTML))
        with ExitStack() as stack:
            body = read_batch(request, limits, stack)
            judging = _lines if body.form == "lines" else _table
            answer = judging(body, asked_profile(body.profile, profiles), known, wanted)
            if answer.type == HTML:
                from weighworthy_service.web.report_answers import batch_report  # noqa: PLC0415

                return batch_report(answer.pieces)
            opened = stack.pop_all()
        pieces = timed(answer.pieces, request.environ, limits.download, opened, g.request_id)
        response = Response(pieces, headers=dict(answer.headers), content_type=answer.type)
        # Also where no piece of the answer was ever asked for.
        response.call_on_close(opened.close)
        return response

    return {"batches": batches}


def _lines(body: BatchBody, profile: Any, known: Known, _wanted: str) -> _Answer:
    wanted = best_type((NDJSON, HTML))
    if body.mapping is not None or "mapping" in request.args:
        raise _contradiction("lines of check requests need no mapping")
    if request.args.get("columns") == "added":
        raise _contradiction("lines of check requests have no columns")
    opened = open_lines(body.table, known.limits.table)
    if "profile" in opened.defaults:
        refuse_unusable(opened.defaults["profile"], known.profiles, ("defaults", "profile"))
    counts = _counted()
    outcomes = judge_lines(opened, _judge(AtHand(known.profiles)), profile, counts, _first_row())
    return _json(outcomes, counts, LINES_READ_AS, known.limits.work, wanted)


def _table(body: BatchBody, profile: Any, known: Known, wanted: str) -> _Answer:
    mapping = asked_mapping(body.mapping, known.mappings)
    if _first_row() > 1 and mapping.gather is not None:
        raise _contradiction("a table whose rows are gathered cannot be judged in parts")
    table, plan = opened_by(mapping, body, known.limits, _first_row())
    run = Run(table, plan, AtHand(known.profiles), profile)
    _refuse_above_header(table)
    if wanted != CSV:
        counts = _counted()
        outcomes = run.outcomes(counts, _judge(run.at_hand))
        answer = _json(outcomes, counts, table.read_as, known.limits.work, wanted)
        return replace(answer, headers={READ_AS: read_as_header(table.read_as)})
    if "detail" in request.args:
        raise _contradiction("a table has no details to leave out")
    layout = _layout(body, table)
    if not layout.added_only and set(ADDED) & set(table.header):
        said = "the table has columns of an answer already (ww_…): send it without them"
        raise refusal_of("table-not-usable", [FieldError("", "columns-taken", said)])
    headers = {ROWS_IN: str(table.count), READ_AS: read_as_header(table.read_as)}
    pieces = within(csv_answer(run, layout, _counted().tally), known.limits.work)
    return _Answer(f"{CSV}; charset=utf-8", pieces, headers)


def _counted() -> Counts:
    """Counts that are kept of the request."""
    counts = Counts()
    g.tally = counts.tally
    return counts


def _refuse_above_header(table: Table) -> None:
    """A first row that is stated lies behind the header, or one of the two is wrong."""
    header_row = table.read_as["header_row"]
    if 1 < _first_row() <= header_row:
        said = f"first_row is {_first_row()}, and the header stands in row {header_row} of the part"
        raise _contradiction(f"{said}: the first row behind it has a higher number")


def _layout(body: BatchBody, table: Table) -> Layout:
    decimal = table.read_as["decimal"]
    body.table.seek(0)
    unmarked = table.read_as["encoding"] == "utf-8" and body.table.read(len(_BOM)) != _BOM
    return Layout(
        table.read_as["delimiter"] or (";" if decimal == "," else ","),
        decimal,
        marked=not unmarked,
        added_only=request.args.get("columns") == "added",
    )


def _judge(at_hand: AtHand) -> Judge[Text]:
    short = request.args.get("detail") == "short"
    return Judge(at_hand, texts(VERSION, short=short), most_made=MOST_TEXTS, digests=True)


def _json(
    outcomes: Iterable[RowOutcome],
    counts: Counts,
    read_as: Mapping[str, Any],
    work: float,
    wanted: str,
) -> _Answer:
    told = dict(read_as)
    lines = within(answer_lines(outcomes, counts, told), work)
    whole = closed(lines, g.request_id, lambda why: summary_line(counts, told, why))
    return _Answer(wanted, whole if wanted == HTML else in_pieces(whole))


def _contradiction(said: str) -> Exception:
    return refusal_of("invalid", [FieldError("", "contradiction", said)])


def _refuse_parameters() -> None:
    errors = parameter_faults(_PARAMETERS)
    first_row = request.args.get("first_row", "1")
    if not (first_row.isascii() and first_row.isdigit() and len(first_row) < 10 and int(first_row)):
        said = "the query parameter 'first_row' is a row number, from 1"
        errors.append(FieldError("", "out-of-range", said))
    if errors:
        raise refusal_of("invalid", errors)


def _first_row() -> int:
    return int(request.args.get("first_row", "1"))
