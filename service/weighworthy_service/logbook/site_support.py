"""Which of the results that come with a logbook are supported, in the form of the answer."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from weighworthy_service.checks.answer import number
from weighworthy_service.checks.outcome import Finding
from weighworthy_service.logbook.assessments import closing_nothing
from weighworthy_service.logbook.book import Book
from weighworthy_service.logbook.calendar import Calendar
from weighworthy_service.logbook.entries import Entry, Result
from weighworthy_service.logbook.kind_support import KindSupport
from weighworthy_service.logbook.needs import ASSESSMENT
from weighworthy_service.logbook.result_support import ResultSupport
from weighworthy_service.logbook.shift import Shift
from weighworthy_service.logbook.support import summary, support_of
from weighworthy_service.logbook.telling import (
    judged_otherwise,
    told_because,
    told_findings,
    told_instant,
)

# What an entry of kind `assessment` has to say, field by field.
ASSESSMENT_STATES = [
    {"field": field if field == "by" else f"assessment.{field}", "says": says}
    for field, says in ASSESSMENT
]


def site_support(
    book: Book, entries: Iterable[Entry], results: Sequence[Result], calendar: Calendar | None
) -> tuple[dict[str, Any], int]:
    """The summary and every result in the order they came; and how many entries there were.

    Results after the moment, or of instruments that are not asked about, are left out and counted.

    Raises:
        SenseError: a schedule needs a calendar, and there is none.
    """
    logs: dict[str, list[Entry]] = defaultdict(list)
    checks: dict[str, Entry] = {}
    assessments = []
    used = 0
    for entry in entries:
        logs[entry.instrument].append(entry)
        if entry.said is not None:
            checks[entry.id] = entry
        if entry.assessment is not None:
            assessments.append(entry)
        used += 1
    by_instrument: dict[str, list[Result]] = defaultdict(list)
    for result in results:
        if result.at <= book.at and book.answers_for(result.instrument):
            by_instrument[result.instrument].append(result)
    found: dict[str, ResultSupport] = {}
    for name, mine in by_instrument.items():
        required = {
            method: book.required(name, method) for method in {result.method for result in mine}
        }
        for one in support_of(required, calendar, logs[name], mine, book.at):
            found[one.result.id] = one
    supports = [found[result.id] for result in results if result.id in found]
    counted = summary(supports)
    states = {name.replace("-", "_"): n for name, n in counted["states"].items()}
    told = {
        "summary": {**counted, "states": states, "left_out": len(results) - len(supports)},
        "results": [_told(one, _resting(book, one, checks)) for one in supports],
        "assessment_states": ASSESSMENT_STATES,
        "findings": told_findings(
            closing_nothing(assessments, {result.id: result for result in results}, found)
        ),
    }
    return told, used


def _resting(book: Book, one: ResultSupport, checks: Mapping[str, Entry]) -> list[Finding]:
    """Of the checks around a result, what is said of those that another profile judged."""
    around = [name for kind in one.kinds for name in (kind.before, kind.after) if name]
    return judged_otherwise(book, [checks[name] for name in around])


def _told(one: ResultSupport, more: Sequence[Finding]) -> dict[str, Any]:
    result = one.result
    return {
        "result": result.id,
        "instrument": result.instrument,
        "at": told_instant(result.at),
        "method": result.method,
        "loss": number(result.loss),
        "initial_mass": number(result.initial_mass),
        "lower_limit": number(result.lower_limit),
        "upper_limit": number(result.upper_limit),
        "state": one.state,
        "check": one.check,
        "needs": one.needs,
        "sentence": one.sentence,
        "crossing": one.crossing,
        "shifts": [_shift(shift) for shift in one.shifts],
        "assessed": _assessed(one.assessed),
        "kinds": [_kind(kind) for kind in one.kinds],
        "because": told_because(one.because),
        "findings": told_findings([*one.findings, *more]),
    }


def _kind(kind: KindSupport) -> dict[str, Any]:
    return {
        "check": kind.check,
        "required": kind.required,
        "state": kind.state,
        "before": kind.before,
        "after": kind.after,
        "sentence": kind.sentence,
        "because": told_because(kind.because),
    }


def _shift(shift: Shift) -> dict[str, Any]:
    return {
        "entry": shift.entry,
        "criterion": shift.criterion,
        "fault": shift.fault,
        "value": number(shift.value),
        "expanded_uncertainty": number(shift.expanded_uncertainty),
        "lower": number(shift.lower),
        "upper": number(shift.upper),
        "unit": "%",
        "corrected": number(shift.corrected),
        "initial_mass": number(shift.initial_mass),
        "of_result": shift.of_result,
        "sentence": shift.sentence,
    }


def _assessed(entry: Entry | None) -> dict[str, Any] | None:
    if entry is None or entry.assessment is None:
        return None
    return {
        "entry": entry.id,
        "at": told_instant(entry.at),
        "by": entry.by,
        "outcome": entry.assessment.outcome,
    }
