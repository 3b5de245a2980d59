"""How an instrument stands as to one kind of check: what was last passed, what failed since, what
asks for a check; and what that comes to at a moment."""

from datetime import datetime
from typing import Final, NamedTuple

from weighworthy_service.logbook.calendar import Calendar
from weighworthy_service.logbook.due import Due, demands_of, earliest
from weighworthy_service.logbook.entries import Because, CheckSaid, Entry
from weighworthy_service.logbook.ladder import Failure, NextStep, closed
from weighworthy_service.logbook.requirements import Requirement

IN_USE: Final = frozenset({"in-force", "due"})
FAILED: Final = frozenset({"failed", "failed-void"})


class KindStatus(NamedTuple):
    """One kind of check at a moment.

    `state`: in-force; due (in force, the next may be done); overdue; asked (something happened
    after which it is asked for); never (none was valid and passed); failed; failed-void (void, and
    it would have failed). `since`: begin of the state, of the earliest reason; None: always so.
    `required` is False for a kind that no schedule asks for, which is told while it is failed.
    """

    check: str
    state: str
    since: datetime | None
    due_at: datetime | None
    overdue_at: datetime | None
    last_passed: str | None
    next_step: NextStep
    because: tuple[Because, ...]
    required: bool = True


class KindStanding:
    """What the entries taken so far say of one kind of check; `requirement` None: no rule does."""

    __slots__ = (
        "_asked",
        "_beside",
        "_demands",
        "_due",
        "_occasions",
        "check",
        "failure",
        "last_passed",
        "requirement",
    )

    def __init__(
        self, check: str, requirement: Requirement | None, calendar: Calendar | None
    ) -> None:
        self.check = check
        self.requirement = requirement
        self.last_passed: Entry | None = None
        self.failure: Failure | None = None
        self._occasions = requirement.occasions if requirement else frozenset()
        self._demands = demands_of(requirement, calendar) if requirement else ()
        self._asked: dict[str, Entry] = {}
        self._beside: dict[str, Failure] = {}
        self._due: Due | str | None = "not known"

    @property
    def required(self) -> bool:
        """Whether any schedule asks for it."""
        return self.requirement is not None and self.requirement.required

    def take(self, entry: Entry, said: CheckSaid) -> None:
        """Take a check of the kind."""
        verdict, failure = said.verdict, self.failure
        valid = verdict is not None and verdict != "void"
        if valid and said.usable and (failure is None or failure.may_end):
            self.last_passed, self._due = entry, "not known"
            if failure is not None:
                failure.ended, self.failure = entry, None
            if self._asked:
                self._asked, self._beside = {}, {}
        elif failure is not None:
            failure.attempt(entry)
        elif said.fails:
            self.failure = Failure(entry, self.requirement)

    def ask(self, occasion: str, entry: Entry, own: Failure | None = None) -> None:
        """Something happened, after which some schedules ask for a check; `own`: see `touch`."""
        if occasion in self._occasions and occasion not in self._asked:
            self._asked[occasion] = entry
            if own is not None:
                self._beside[entry.id] = own

    def touch(self, entry: Entry, own: Failure | None = None) -> None:
        """Something was done to the balance, or decided, that bears on tries after a failure.

        `own`: of a check of another kind, the failure of that kind in which it was made.
        """
        if self.failure is not None:
            self.failure.touched(entry, own)

    def due(self) -> Due | None:
        """When the check after the last passed one is due; None: by no time, or none passed."""
        if isinstance(self._due, str):
            passed = self.last_passed
            self._due = None if passed is None else earliest(self._demands, passed.at)
        return self._due

    def state(self, at: datetime) -> str:
        """In the words of `KindStatus`; `at` is not before any entry taken."""
        if self.failure is not None:
            return "failed" if self.failure.failed else "failed-void"
        if self.last_passed is None:
            return "never"
        if self._asked:
            return "asked"
        due = self.due()
        if due is None or at < due.due_at:
            return "in-force"
        return "due" if at <= due.overdue_at else "overdue"

    def outside_shifts(self) -> bool:
        """Whether the last passed check lies outside the shifts of what it counts for."""
        passed = self.last_passed
        return passed is not None and any(one.outside(passed.at) for one in self._demands)

    def never_open(self) -> bool:
        """Whether the calendar has no working time in sight after the last passed check."""
        passed = self.last_passed
        return passed is not None and any(one.never_open(passed.at) for one in self._demands)

    def status(self, at: datetime, out_by_entry: Entry | None) -> KindStatus:
        """The same with times, reasons and the next step, which depends on what took the instrument
        out of service, and still holds."""
        state = self.state(at)
        if self.failure is not None:
            place = self.requirement.response_place if self.requirement else None
            step = self.failure.next_step(self.check, place, out_by_entry)
            return KindStatus(
                check=self.check,
                state=state,
                since=self.failure.origin.at,
                due_at=None,
                overdue_at=None,
                last_passed=self.last_passed.id if self.last_passed else None,
                next_step=step,
                because=closed(self.failure.because(), self.failure.beside),
                required=self.required,
            )
        passed = self.last_passed
        if passed is None:
            because = self._schedules()
            sentence = f"do a {self.check} check: none has passed yet"
            step = NextStep("check", self.check, None, None, None, sentence, because)
            return KindStatus(self.check, state, None, None, None, None, step, because)
        due = self.due()
        because = (Because(passed.id, None, f"{self.check} passed {_shown(passed.at)}"),)
        if due is not None:
            because = (*because, Because(None, due.place, _due_sentence(self.check, due)))
        overdue = due is not None and at > due.overdue_at
        began = [due.overdue_at] if due is not None and overdue else []
        for occasion, entry in self._asked.items():
            sentence = f"{entry.kind} {_shown(entry.at)}: {self.check} is asked for ({occasion})"
            because = (*because, Because(entry.id, self._place_of(occasion), sentence))
            began.append(entry.at)
        because = closed(because, self._beside)
        return KindStatus(
            check=self.check,
            state=state,
            since=min(began) if began else passed.at,
            due_at=due and due.due_at,
            overdue_at=due and due.overdue_at,
            last_passed=passed.id,
            next_step=self._next_step(state, due, because),
            because=because,
        )

    def _next_step(self, state: str, due: Due | None, because: tuple[Because, ...]) -> NextStep:
        if state in IN_USE:
            if due is None:
                sentence = f"{self.check} is not due by time"
                return NextStep("none", self.check, None, None, None, sentence, because)
            sentence = (
                f"{self.check}: the next check is due from {_shown(due.due_at)}, "
                f"at the latest {_shown(due.overdue_at)}"
            )
            return NextStep("check", self.check, due.overdue_at, None, None, sentence, because)
        reasons = sorted(self._asked) or ["it is overdue"]
        sentence = f"do a {self.check} check: {', '.join(reasons)}"
        return NextStep("check", self.check, None, None, None, sentence, because)

    def _schedules(self) -> tuple[Because, ...]:
        schedules = self.requirement.schedules if self.requirement else ()
        sentence = f"{self.check} is required, and no valid check of it passed"
        return tuple(Because(None, one.place, sentence) for one in schedules)

    def _place_of(self, occasion: str) -> str | None:
        schedules = self.requirement.schedules if self.requirement else ()
        return next((one.place for one in schedules if occasion in one.schedule.after), None)


def _due_sentence(check: str, due: Due) -> str:
    return (
        f"{check} {due.said}: due again from {_shown(due.due_at)}, overdue after "
        f"{_shown(due.overdue_at)}"
    )


def _shown(instant: datetime) -> str:
    return instant.isoformat()
