"""May an instrument be used at a moment, since when, until when, why, and what is next."""

from collections.abc import Iterable
from datetime import datetime
from typing import NamedTuple

from weighworthy_service.checks.outcome import Finding
from weighworthy_service.logbook.entries import OCCASION_OF, Because
from weighworthy_service.logbook.kind_standing import FAILED, IN_USE, KindStatus
from weighworthy_service.logbook.ladder import NextStep
from weighworthy_service.logbook.requirements import Requirement
from weighworthy_service.logbook.standing import Standing


class InstrumentStatus(NamedTuple):
    """`state`: in-service, check-needed or out-of-service.

    `since`: in service, the latest of what it rests on; otherwise the earliest reason that holds
    still, None where there never was anything else. `until`: in service, after which a check is
    overdue if nothing is entered; None: only an entry changes it.
    """

    state: str
    usable: bool
    since: datetime | None
    until: datetime | None
    because: tuple[Because, ...]
    next_step: NextStep
    kinds: tuple[KindStatus, ...]
    findings: tuple[Finding, ...]


def status_of(standing: Standing, at: datetime) -> InstrumentStatus:
    """Of what the standing has taken; `at` is not before any of its entries."""
    kinds = standing.kinds(at)
    failed = [one for one in kinds if one.state in FAILED]
    findings = tuple(_findings(standing, kinds))
    if failed or standing.out_by_entry is not None:
        return _out_of_service(standing, failed, kinds, findings)
    needed = [one for one in kinds if one.state not in IN_USE]
    if needed or not kinds:
        return _check_needed(needed, kinds, findings)
    return _in_service(standing, kinds, findings)


def _out_of_service(
    standing: Standing,
    failed: list[KindStatus],
    kinds: tuple[KindStatus, ...],
    findings: tuple[Finding, ...],
) -> InstrumentStatus:
    reasons = [reason for one in failed for reason in one.because]
    began = [one.since for one in failed if one.since is not None]
    out = standing.out_by_entry
    if out is not None:
        reasons.append(Because(out.id, None, f"taken out of service {out.at.isoformat()}"))
        began.append(out.at)
    if failed:
        first = min(failed, key=_urgency)
        step = first.next_step
        reasons += step.because
    else:
        sentence = "what it was taken out for being done, take it back in service by an entry"
        step = NextStep("back-in-service", None, None, None, None, sentence, tuple(reasons))
    return InstrumentStatus(
        "out-of-service", False, min(began), None, _once(reasons), step, kinds, findings
    )


def _check_needed(
    needed: list[KindStatus], kinds: tuple[KindStatus, ...], findings: tuple[Finding, ...]
) -> InstrumentStatus:
    reasons = _once(reason for one in kinds for reason in one.because)
    if not needed:
        sentence = (
            "no schedule asks for any check of this instrument, so nothing supports its results: "
            "the responsible person decides"
        )
        step = NextStep("decide", None, None, None, None, sentence, ())
        return InstrumentStatus("check-needed", False, None, None, reasons, step, kinds, findings)
    never = [one for one in needed if one.since is None]
    dated = [one.since for one in needed if one.since is not None]
    since = None if never else min(dated)
    first = next(one for one in needed if one.since == since)
    return InstrumentStatus(
        "check-needed", False, since, None, reasons, first.next_step, kinds, findings
    )


def _in_service(
    standing: Standing, kinds: tuple[KindStatus, ...], findings: tuple[Finding, ...]
) -> InstrumentStatus:
    reasons = [reason for one in kinds for reason in one.because]
    began = [one.since for one in kinds if one.since is not None]
    back = standing.back_in_service
    if back is not None:
        reasons.append(Because(back.id, None, f"back in service {back.at.isoformat()}"))
        began.append(back.at)
    timed = [one for one in kinds if one.overdue_at is not None]
    first = min(timed, key=_overdue_at) if timed else None
    if first is not None:
        step = first.next_step
    else:
        sentence = "no check is due by time"
        step = NextStep("none", None, None, None, None, sentence, ())
    until = first.overdue_at if first else None
    return InstrumentStatus(
        "in-service", True, max(began), until, _once(reasons), step, kinds, findings
    )


def _overdue_at(kind: KindStatus) -> datetime:
    assert kind.overdue_at is not None  # noqa: S101  only such are compared
    return kind.overdue_at


def _urgency(failed: KindStatus) -> tuple[bool, datetime]:
    """What a used-up ladder asks for comes before every other try."""
    assert failed.since is not None  # noqa: S101  every failure began with a check
    return failed.next_step.step not in ("out-of-service", "service"), failed.since


def _findings(standing: Standing, kinds: tuple[KindStatus, ...]) -> Iterable[Finding]:
    if not standing.requirements:
        yield Finding(
            "nothing-required",
            "warning",
            "the profile has no schedule for this instrument: no check is required, and none "
            "supports its results",
        )
    for requirement in standing.requirements:
        yield from _unknown_occasions(requirement)
        if standing.never_open(requirement.check):
            yield Finding(
                "never-open",
                "warning",
                f"the calendar has no working time within three years after the last "
                f"{requirement.check} check that passed: it never becomes due",
            )
        elif standing.outside_shifts(requirement.check):
            yield Finding(
                "outside-working-time",
                "note",
                f"the last {requirement.check} check that passed lies outside all shifts: it "
                "counts for the working time that follows",
            )
    for one in kinds:
        failure = standing.failure(one.check)
        if failure is not None and failure.uncounted is not None:
            yield Finding(
                "pass-does-not-count",
                "warning",
                f"{one.check} check {failure.uncounted.id} passed, but after the tries were used "
                "up: that restores nothing",
            )
        if one.state == "failed-void":
            yield Finding(
                "void-would-have-failed",
                "warning",
                f"a {one.check} check was void, and would have failed or failed as found: only a "
                "valid check of the kind that passes ends that",
            )


def _unknown_occasions(requirement: Requirement) -> Iterable[Finding]:
    for occasion in sorted(requirement.occasions - set(OCCASION_OF.values())):
        yield Finding(
            "unknown-occasion",
            "note",
            f"{requirement.check} is asked for after {occasion!r}, which no entry of a logbook "
            "says: that demand cannot be seen here",
        )


def _once(reasons: Iterable[Because]) -> tuple[Because, ...]:
    return tuple(dict.fromkeys(reasons))
