"""What supports one result, all kinds of check together, and what is left to do about it."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime
from typing import NamedTuple

from weighworthy_service.checks.faults import Fault
from weighworthy_service.checks.outcome import Finding
from weighworthy_service.checks.reach import Reach
from weighworthy_service.logbook.entries import Because, Entry, Result
from weighworthy_service.logbook.following import Following
from weighworthy_service.logbook.kind_support import (
    KindSupport,
    Preceding,
    evidence,
    failed_support,
    failing_support,
    required_support,
)
from weighworthy_service.logbook.needs import (
    CROSSINGS,
    STATES,
    Crossing,
    Needs,
    State,
    crossing,
    needs,
)
from weighworthy_service.logbook.reach import range_findings, reach_of
from weighworthy_service.logbook.shift import Faults, Shift, faults_of, shifts
from weighworthy_service.logbook.standing import Standing


class ResultSupport(NamedTuple):
    """What supports one result.

    `check`: the kind of check with the worst state; None: the instrument as a whole. `shifts`: what
    the failed checks say, per check the largest first. `crossing`: whether they may have moved it
    across a limit; None where it is supported, open or unconfirmed. `assessed`: the entry that
    closes it; the state stays. `unsettled_at`: an earlier one does not.
    """

    result: Result
    state: State
    check: str | None
    sentence: str
    kinds: tuple[KindSupport, ...]
    shifts: tuple[Shift, ...]
    crossing: Crossing | None
    needs: Needs
    assessed: Entry | None
    because: tuple[Because, ...]
    findings: tuple[Finding, ...]
    unsettled_at: datetime


class Judge:
    """Results of one log; what rests on a check alone is worked out once for it."""

    def __init__(self, log: Iterable[Entry]) -> None:
        self._assessments: dict[str, list[Entry]] = defaultdict(list)
        self._kind_of: dict[str | None, str] = {}
        for entry in log:
            if entry.said is not None:
                self._kind_of[entry.id] = entry.said.check
            elif entry.assessment is not None:
                for name in entry.assessment.results:
                    self._assessments[name].append(entry)
        self._reaches: dict[str, Reach | None] = {}
        self._faults: dict[tuple[str, bool], tuple[Fault, ...]] = {}

    def support(
        self,
        result: Result,
        standing: Standing,
        preceding: Preceding,
        following: Mapping[str, Following],
    ) -> ResultSupport:
        kinds = tuple(_kinds(result, standing, preceding, following))
        worst = max(kinds, key=lambda one: STATES.index(one.state), default=None)
        state, check, sentence = _of_all(standing, worst)
        reasons = [reason for one in kinds for reason in one.because]
        reasons += self._of_others(reasons, kinds, standing, following)
        out = standing.out_by_entry
        if out is not None:
            said = f"taken out of service {out.at.isoformat()}, and not taken back"
            reasons.append(Because(out.id, None, said))
        failed = [
            faults for one in kinds for faults in evidence(one, preceding, following[one.check])
        ]
        moved = [self._shifts(faults, result) for faults in failed]
        crossed = _crossed(result, state, moved)
        unsettled = max((result.at, *(one.unsettled_at for one in kinds)))
        assessed = self._assessed(result, unsettled)
        if assessed is not None:
            reasons.append(Because(assessed.id, None, f"assessed {assessed.at.isoformat()}"))
        return ResultSupport(
            result,
            state,
            check,
            sentence,
            kinds,
            tuple(shift for of_check in moved for shift in of_check),
            crossed,
            needs(result, state, crossed, failed=bool(failed), assessed=assessed is not None),
            assessed,
            tuple(dict.fromkeys(reasons)),
            tuple(dict.fromkeys(self._findings(result, standing, kinds, following))),
            unsettled,
        )

    def _of_others(
        self,
        reasons: Iterable[Because],
        kinds: Iterable[KindSupport],
        standing: Standing,
        following: Mapping[str, Following],
    ) -> list[Because]:
        """A check of a kind that is not told may count for what it did to the balance.

        What it says itself must not seem to count then: so the passes that let it not count belong
        to the reasons.
        """
        told = {one.check for one in kinds}
        others = {self._kind_of.get(one.entry) for one in reasons} - {None, *told}
        found = []
        for check in sorted(name for name in others if name is not None):
            for entry in (standing.last_passed(check), following[check].check):
                if entry is not None:
                    said = f"{check} passed {entry.at.isoformat()}, so it does not count itself"
                    found.append(Because(entry.id, None, said))
        return found

    def _assessed(self, result: Result, unsettled: datetime) -> Entry | None:
        """The last that is not earlier than what it has to close."""
        found = self._assessments.get(result.id, ())
        return found[-1] if found and found[-1].at >= unsettled else None

    def _shifts(self, faults: Faults, result: Result) -> tuple[Shift, ...]:
        if faults.said is None:
            return ()
        key = faults.entry, faults.before
        if key not in self._faults:
            self._faults[key] = faults_of(faults.said, before=faults.before)
        return shifts(faults.entry, self._faults[key], result)

    def _findings(
        self,
        result: Result,
        standing: Standing,
        kinds: Sequence[KindSupport],
        following: Mapping[str, Following],
    ) -> Iterator[Finding]:
        if not standing.requirements:
            message = "the profile has no schedule for this instrument and method"
            yield Finding("nothing-required", "warning", message)
        for one in kinds:
            after = following[one.check]
            if one.state in ("supported", "open", "unconfirmed"):
                yield from self._range(standing.last_passed(one.check), result)
            if one.state == "supported":
                yield from self._range(after.check, result)
            if after.void is not None:
                message = (
                    f"the {one.check} check {after.void.id} after it was void, and would have "
                    "failed"
                )
                yield Finding("void-would-have-failed", "warning", message)

    def _range(self, entry: Entry | None, result: Result) -> Iterable[Finding]:
        if entry is None or entry.said is None:
            return ()
        if entry.id not in self._reaches:
            self._reaches[entry.id] = reach_of(entry.said)
        return range_findings(entry, self._reaches[entry.id], result)


def _kinds(
    result: Result,
    standing: Standing,
    preceding: Preceding,
    following: Mapping[str, Following],
) -> Iterator[KindSupport]:
    told = set()
    required = {one.check for one in standing.requirements}
    for check in standing.told():
        told.add(check)
        failure = standing.failure(check)
        if failure is None:
            yield required_support(standing.status(check, result.at), following[check], result.at)
        else:
            yield failed_support(
                failure, preceding, following[check], result.at, required=check in required
            )
    for check, after in sorted(following.items()):
        if check not in told and after.fails:
            yield failing_support(check, after, result.at)


def _of_all(standing: Standing, worst: KindSupport | None) -> tuple[State, str | None, str]:
    """State, the kind of check that made it, and a sentence."""
    if not standing.requirements or worst is None:
        return "unsupported", None, "no check is required that could support it"
    if standing.out_by_entry is not None and worst.state != "unsupported":
        return "unsupported", None, "the balance was out of service when it was measured"
    return worst.state, worst.check, worst.sentence


def _crossed(result: Result, state: State, moved: Iterable[Iterable[Shift]]) -> Crossing | None:
    if state not in ("in-doubt", "unsupported"):
        return None
    # Without a failed check nothing is known of an error.
    return max((crossing(result, one) for one in moved), key=CROSSINGS.index, default="unknown")
