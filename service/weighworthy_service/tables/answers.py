"""What became of the rows, as lines of JSON: whole answers, problems, and a summary at the end."""

from collections.abc import Callable, Iterable, Iterator
from typing import Any, Final, NamedTuple

from weighworthy_service.checks.answer_text import answer_text
from weighworthy_service.checks.outcome import Evaluation
from weighworthy_service.checks.terms import ProfileIdentity
from weighworthy_service.json_text import to_bytes
from weighworthy_service.tables.outcome import (
    Answered,
    Counts,
    Refused,
    RowError,
    RowOutcome,
    summary,
)
from weighworthy_service.tables.quick import Found
from weighworthy_service.tables.tally import Came
from weighworthy_service.wire.coded import MAX_ERRORS
from weighworthy_service.wire.problem import PROBLEMS

# Sent piece by piece: large enough to cost little, small enough to arrive while judging goes on.
PIECE: Final = 64 * 1024
# Of a few kilobytes each.
MOST_TEXTS: Final = 8000
_END: Final = b'"request_digest":"","labels":{}}'


class Text(NamedTuple):
    """An answer as it is written, up to what is of one request alone; and what it came to."""

    came: Came
    head: bytes


def texts(version: str, *, short: bool) -> Callable[[Evaluation, ProfileIdentity], Text]:
    """What makes the text of an outcome."""

    def made(evaluation: Evaluation, profile: ProfileIdentity) -> Text:
        whole = answer_text(
            evaluation, profile=profile, version=version, request_digest="", labels={}, short=short
        )
        head = whole.removesuffix(_END)
        assert len(head) < len(whole)  # noqa: S101  these are the last fields of every answer
        return Text(Came(evaluation.check, evaluation.verdict, profile.digest), head)

    return made


def answer_lines(
    outcomes: Iterable[RowOutcome], counts: Counts, read_as: dict[str, Any]
) -> Iterator[bytes]:
    """A line for each check and each refusal, and the summary, which is complete if all add up.

    What was made of a check is its `Text`.
    """
    for outcome in outcomes:
        if isinstance(outcome, Answered):
            counts.judge(len(outcome.rows), outcome.found.made.came)
            yield _answered(outcome)
        elif isinstance(outcome, Refused):
            counts.refuse(len(outcome.rows), outcome.slug)
            yield to_bytes(_refused(outcome)) + b"\n"
        else:
            counts.skipped += 1
    broken_by = None if counts.add_up else "rows were lost: this is a fault of the service"
    yield summary_line(counts, read_as, broken_by)


def summary_line(counts: Counts, read_as: dict[str, Any], broken_by: str | None) -> bytes:
    """The last line, also where something broke off what came before."""
    said = summary(counts, read_as, complete=broken_by is None, broken_by=broken_by)
    return to_bytes(said) + b"\n"


def _answered(outcome: Answered) -> bytes:
    found: Found[Text] = outcome.found
    return b'{"sheet":%b,"rows":[%b],"answer":%b"request_digest":"%b","labels":%b}}\n' % (
        b"null" if outcome.sheet is None else to_bytes(outcome.sheet),
        ",".join(map(str, outcome.rows)).encode(),
        found.made.head,
        (found.digest or "").encode(),
        to_bytes(found.labels) if found.labels else b"{}",
    )


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
