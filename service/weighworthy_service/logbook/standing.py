"""How an instrument stands, kind of check by kind of check, after each entry of its log in turn.

Taking an entry only notes it; what it comes to is worked out when somebody asks. So one pass over
years of passing checks costs little.
"""

from collections.abc import Iterable
from datetime import datetime

from weighworthy_service.logbook.calendar import Calendar
from weighworthy_service.logbook.entries import ADJUSTING, OCCASION_OF, CheckSaid, Entry
from weighworthy_service.logbook.kind_standing import KindStanding, KindStatus
from weighworthy_service.logbook.ladder import Failure
from weighworthy_service.logbook.requirements import Requirement


class Standing:
    """Of one instrument; entries are taken in order (`ordering`).

    `out_by_entry`: the first out-of-service entry since the last back-in-service.
    `back_in_service`: the last entry of that kind.
    """

    def __init__(self, requirements: Iterable[Requirement], calendar: Calendar | None) -> None:
        """Raises `SenseError` where a schedule needs a calendar and there is none."""
        stated = tuple(requirements)
        self.requirements = tuple(one for one in stated if one.required)
        self._others = {one.check: one for one in stated if not one.required}
        self._kinds = {
            one.check: KindStanding(one.check, one, calendar) for one in self.requirements
        }
        self.out_by_entry: Entry | None = None
        self.back_in_service: Entry | None = None

    def take(self, entry: Entry) -> None:
        """Take the next entry of the log."""
        if entry.said is not None:
            said = entry.said
            kind = self._kinds.get(said.check)
            if kind is None:
                other = self._others.get(said.check)
                kind = self._kinds[said.check] = KindStanding(said.check, other, None)
            kind.take(entry, said)
            if said.adjusted:
                self._adjusted(kind, entry, said)
            return
        if entry.kind == "out-of-service":
            self.out_by_entry = self.out_by_entry or entry
        elif entry.kind == "back-in-service":
            self.out_by_entry = None
            self.back_in_service = entry
        occasion = OCCASION_OF.get(entry.kind)
        for kind in self._kinds.values():
            if occasion is not None:
                kind.ask(occasion, entry)
            if entry.kind in ADJUSTING or entry.kind == "back-in-service":
                kind.touch(entry)

    def _adjusted(self, own: KindStanding, entry: Entry, said: CheckSaid) -> None:
        for kind in self._kinds.values():
            if kind is not own:
                kind.ask("after-adjustment", entry, own.failure)
                kind.touch(entry, own.failure)
            elif not said.valid:
                # Nothing valid has looked at what the adjustment left.
                kind.ask("after-adjustment", entry)

    def kinds(self, at: datetime) -> tuple[KindStatus, ...]:
        """Every required kind, and every other that is failed. `at`: not before any entry taken."""
        return tuple(self.status(check, at) for check in self.told())

    def told(self) -> list[str]:
        """Every required kind, in the order of the requirements, and every other that is failed."""
        return [
            check
            for check in sorted(self._kinds, key=self._place_of)
            if self._kinds[check].required or self._kinds[check].failure
        ]

    def status(self, check: str, at: datetime) -> KindStatus:
        """Of a kind that is told."""
        return self._kinds[check].status(at, self.out_by_entry)

    def failure(self, check: str) -> Failure | None:
        """Of a kind that is failed."""
        kind = self._kinds.get(check)
        return kind.failure if kind else None

    def state(self, check: str, at: datetime) -> str | None:
        """The state alone, quickly; None of a kind that is neither required nor failed."""
        kind = self._kinds.get(check)
        if kind is None or not (kind.required or kind.failure):
            return None
        return kind.state(at)

    def last_passed(self, check: str) -> Entry | None:
        """The check that the state of a kind rests on: the last that was valid and restored use."""
        kind = self._kinds.get(check)
        return kind.last_passed if kind else None

    def outside_shifts(self, check: str) -> bool:
        """Whether the last passed check of a kind lies outside the shifts it counts for."""
        kind = self._kinds.get(check)
        return kind is not None and kind.outside_shifts()

    def never_open(self, check: str) -> bool:
        """Whether the calendar has no working time in sight after the last passed of a kind."""
        kind = self._kinds.get(check)
        return kind is not None and kind.never_open()

    def _place_of(self, check: str) -> tuple[bool, str]:
        # Required kinds keep their order, for sorting is stable.
        kind = self._kinds[check]
        return (False, "") if kind.required else (True, check)
