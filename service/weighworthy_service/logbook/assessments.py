"""Assessments that close nothing, and why: whoever wrote one believes that it did."""

from collections.abc import Iterable, Iterator, Mapping, Sequence

from weighworthy_service.checks.outcome import Finding
from weighworthy_service.logbook.entries import Entry, Result
from weighworthy_service.logbook.result_support import ResultSupport

_NAMED = 3
_CLOSED = ("supported", "open")


def closing_nothing(
    assessments: Iterable[Entry],
    sent: Mapping[str, Result],
    supports: Mapping[str, ResultSupport],
) -> Iterator[Finding]:
    """Per assessment: results that were not sent, that are of another balance, or that something
    later has put in doubt.

    `sent` and `supports` are by id of the result. A result that is supported needs no closing, and
    one that a later assessment closes none besides.
    """
    for entry in assessments:
        missing, others, early = [], [], []
        for name in entry.assessment.results if entry.assessment is not None else ():
            support = supports.get(name)
            if name not in sent:
                missing.append(name)
            elif sent[name].instrument != entry.instrument:
                others.append(name)
            elif support and support.state not in _CLOSED and support.assessed is None:
                early.append(support)
        if missing:
            said = (
                f"assessment {entry.id} names what is not among the results sent: {_some(missing)}"
            )
            yield Finding("assessed-not-sent", "note", said)
        if others:
            said = (
                f"assessment {entry.id} of {entry.instrument} closes nothing of results of another "
                f"instrument: {_some(others)}"
            )
            yield Finding("assessed-on-other-instrument", "warning", said)
        if early:
            since = max(one.unsettled_at for one in early)
            said = (
                f"assessment {entry.id} ({entry.at.isoformat()}) is earlier than what it would "
                f"have to close ({since.isoformat()}), and closes nothing of: "
                f"{_some([one.result.id for one in early])}"
            )
            yield Finding("assessed-too-early", "warning", said)


def _some(names: Sequence[str]) -> str:
    more = len(names) - _NAMED
    return ", ".join(names[:_NAMED]) + (f" and {more} more" if more > 0 else "")
