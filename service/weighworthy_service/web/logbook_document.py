"""The logbook in the OpenAPI document."""

from typing import Any, Final

from weighworthy_service.logbook.reading import ENTRY_FORM
from weighworthy_service.web.batch_body import CELLS, CSV
from weighworthy_service.web.batch_document import MAPPING_ID, READ_AS_HEADER
from weighworthy_service.web.batch_read_as import READ_AS
from weighworthy_service.web.document_parts import (
    BODY,
    EVERYWHERE,
    FILE,
    GUARDED,
    JSON,
    SECURITY,
    TEXT,
    problems,
    response,
)
from weighworthy_service.web.multipart import MULTIPART
from weighworthy_service.web.page_asked import PAGED
from weighworthy_service.web.report_document import LANGUAGE_PARAMETER, paged
from weighworthy_service.web.spooled_lines import NDJSON
from weighworthy_service.wire.containers import ListOf, Part
from weighworthy_service.wire.form import Form
from weighworthy_service.wire.logbook import LogbookForm
from weighworthy_service.wire.logbook_answers import StatusAnswerForm
from weighworthy_service.wire.logbook_drift import DriftAnswerForm, DriftLogbookForm
from weighworthy_service.wire.logbook_intervals import IntervalsAnswerForm, IntervalsLogbookForm
from weighworthy_service.wire.logbook_signals import SignalsAnswerForm, SignalsLogbookForm
from weighworthy_service.wire.logbook_support import SupportAnswerForm
from weighworthy_service.wire.request import said

_MANY: Final = 1_000_000
_MORE: Final = (
    "profile-not-usable",
    "mapping-not-usable",
    "table-not-usable",
    "body-incomplete",
)


def _with_entries(form: type[Form], name: str) -> type[Form]:
    """The form as it is sent whole; entries are read one by one, not by it."""
    entries = ListOf(
        Part(ENTRY_FORM),
        maximum=_MANY,
        metadata=said("In whatever order, unless `sorted` promises that of time."),
    )
    return type(
        f"{name.title()}LogbookForm", (form,), {"entries": entries, "__doc__": form.__doc__}
    )


_SENT: Final = f"""\

A logbook comes as one JSON document of up to 8 MiB, or as `{NDJSON}`: the document without
`entries` on the first line, which may be as long as such a document, then an entry a line, as many
and as large as a batch. An entry of kind
`check` has its `request`, which is judged anew, or an earlier `answer`, which is taken at its word;
the reply counts both.

Checks may also be the rows of a table: `{MULTIPART}` with the parts `logbook`, `table`, `mapping`,
or without the last and with the mapping named in the query. The id of such a check is its first
row, like `row 17`; other entries come with the document. The header `{READ_AS}` then tells how the
table was read.

Entries may come in any order and more than once: the same `id` with the same content is one entry.
With different content it is refused, as are two entries of one instant that exclude each other.
None is passed over: a logbook with an entry that cannot be read is refused as a whole.
"""
_STATUS: Final = """\
Whether each instrument may be used at a moment, since when and until when, which entries and rules
decide that, and what has to be done next. An instrument is in service while every kind of check
that the profile's schedules require is in force and none failed.
"""
_SUPPORT: Final = """\
For each result, whether the checks before and after it support it, kind by kind; what the error
that a failed check found would have done to the reported loss; and whether that could have moved it
across a specification limit. What is in doubt stays so whatever a repeat says: an entry of kind
`assessment` closes it. Results after the moment are left out and counted.
"""
_DRIFT: Final = """\
Errors as found over time, for each instrument, check and load, cut where the balance or its
reference became another one. Each series has its slope with confidence interval by two ways, the
time until a limit, control charts, and what their tests signal, each with its rate of false alarms.
Where there are too few points, that is said, and no slope.
"""
_INTERVALS: Final = """\
Whether each kind of check is done too often, or not often enough, for a wanted reliability: what
checks found after which time, at which rate balances go out of tolerance if that is constant, how
long the wanted reliability is then kept, and what follows, with bounds and reasons. Balances of one
model under the same schedules are also taken together.
"""
_SIGNALS: Final = """\
What only several balances, or many checks together, show: whether all moved alike when their
weights were changed, where void checks gather, where the very same readings come again though
scatter is due, and which weights in use are near their due date. Each is a finding with its
statistics, corrected for all that was looked at; none says who or what is at fault.
"""
_ADDRESSES: Final[tuple[tuple[str, str, str, type[Form], Any], ...]] = (
    (
        "status",
        "May the instruments be used, and what is next",
        _STATUS,
        LogbookForm,
        StatusAnswerForm,
    ),
    (
        "support",
        "Which results are supported, and which are in doubt",
        _SUPPORT,
        LogbookForm,
        SupportAnswerForm,
    ),
    ("drift", "How errors as found drift", _DRIFT, DriftLogbookForm, DriftAnswerForm),
    (
        "intervals",
        "Whether checks are done often enough",
        _INTERVALS,
        IntervalsLogbookForm,
        IntervalsAnswerForm,
    ),
    (
        "signals",
        "What several balances together show",
        _SIGNALS,
        SignalsLogbookForm,
        SignalsAnswerForm,
    ),
)


def logbook_operations() -> dict[str, dict[str, Any]]:
    """By address, what may be done there."""
    return {f"/v1/logbook/{one[0]}": {"post": _posted(*one)} for one in _ADDRESSES}


def _parts(form: type[Form]) -> dict[str, Any]:
    """The form as a part beside a table, whose rows are further checks."""
    return {
        "schema": {
            "type": "object",
            "properties": {
                "logbook": form,
                "mapping": {"type": "string", "description": "Of the table, TOML or JSON."},
                "table": {**FILE, "description": "CSV, or typed cells as of batches."},
            },
            "required": ["logbook", "table"],
            "additionalProperties": False,
        },
        "encoding": {
            "logbook": {"contentType": JSON},
            "table": {"contentType": f"{CSV}, {CELLS}"},
        },
    }


def _posted(
    name: str, summary: str, about: str, asked: type[Form], answered: Any
) -> dict[str, Any]:
    form = _with_entries(asked, name)
    told = response("What the logbook comes to.", answered)
    told = paged(told) if name in PAGED else told
    bodies = {JSON: {"schema": form}, NDJSON: TEXT, MULTIPART: _parts(form)}
    return {
        "operationId": f"logbook_{name}",
        "tags": ["logbook"],
        "summary": summary,
        "description": about + _SENT,
        "security": SECURITY,
        "parameters": [MAPPING_ID, *([LANGUAGE_PARAMETER] if name in PAGED else [])],
        "requestBody": {
            "required": True,
            "content": bodies,
        },
        "responses": {
            "200": {**told, "headers": {**told["headers"], READ_AS: READ_AS_HEADER}},
            **problems((*BODY, *_MORE, *GUARDED, *EVERYWHERE)),
        },
    }
