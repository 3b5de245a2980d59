"""What became of the rows, as lines of JSON: whole answers, problems, and a summary at the end."""

from collections.abc import Iterable, Iterator
from typing import Any, Final

from weighworthy_service.checks.answer import answer, request_digest
from weighworthy_service.json_text import to_bytes
from weighworthy_service.tables.outcome import (
    Answered,
    Counts,
    Refused,
    RowError,
    RowOutcome,
    counted,
    summary,
)
from weighworthy_service.wire.coded import MAX_ERRORS
from weighworthy_service.wire.problem import PROBLEMS

# Sent piece by piece: large enough to cost little, small enough to arrive while judging goes on.
PIECE: Final = 64 * 1024


def answer_lines(
    outcomes: Iterable[RowOutcome],
    counts: Counts,
    read_as: dict[str, Any],
    *,
    version: str,
    short: bool,
) -> Iterator[bytes]:
    """A line for each check and each refusal, and the summary, which is complete if all add up."""
    for outcome in counted(outcomes, counts):
        if isinstance(outcome, Answered):
            yield to_bytes(_answered(outcome, version, short=short)) + b"\n"
        elif isinstance(outcome, Refused):
            yield to_bytes(_refused(outcome)) + b"\n"
    broken_by = None if counts.add_up else "rows were lost: this is a fault of the service"
    yield summary_line(counts, read_as, broken_by)


def summary_line(counts: Counts, read_as: dict[str, Any], broken_by: str | None) -> bytes:
    """The last line, also where something broke off what came before."""
    said = summary(counts, read_as, complete=broken_by is None, broken_by=broken_by)
    return to_bytes(said) + b"\n"


def _answered(outcome: Answered, version: str, *, short: bool) -> dict[str, Any]:
    judged = outcome.judged
    return {
        "sheet": outcome.sheet,
        "rows": list(outcome.rows),
        "answer": answer(
            judged.evaluation,
            profile=judged.profile,
            version=version,
            request_digest=request_digest(outcome.document, outcome.kind),
            labels=judged.labels,
            short=short,
        ),
    }


def _refused(outcome: Refused) -> dict[str, Any]:
    kind = PROBLEMS[outcome.slug]
    return {
        "sheet": outcome.sheet,
        "rows": list(outcome.rows),
        "problem": {
            "type": f"/problems/{kind.slug}",
            "title": kind.title,
            "status": kind.status,
            "detail": outcome.detail,
            "errors": [_error(error) for error in outcome.errors[:MAX_ERRORS]],
        },
        "labels": outcome.labels,
    }


def _error(error: RowError) -> dict[str, Any]:
    return {
        "pointer": error.pointer,
        "code": error.code,
        "detail": error.detail,
        **error.where._asdict(),
    }


def in_pieces(lines: Iterable[bytes]) -> Iterator[bytes]:
    """The same bytes in pieces worth sending."""
    held: list[bytes] = []
    size = 0
    for line in lines:
        held.append(line)
        size += len(line)
        if size >= PIECE:
            yield b"".join(held)
            held.clear()
            size = 0
    if held:
        yield b"".join(held)
