"""What many requests have in common, settled once: down to the terms that they are judged by."""

from bisect import bisect_right
from dataclasses import dataclass, field
from typing import Any, Final

from weighworthy_service.checks.kind import Kind
from weighworthy_service.checks.prepared import Prepared, Writer
from weighworthy_service.checks.terms import ProfileIdentity
from weighworthy_service.profiles.judging import read
from weighworthy_service.profiles.resolve import terms_for
from weighworthy_service.tables.digests import DigestTemplate
from weighworthy_service.tables.finder import AtHand

# Sets of circumstances kept, once for each of their periods: a bound on the memory they take.
KEPT: Final = 1024
_DATE: Final = len("2026-03-17")


def day_of(performed_at: str | None) -> str | None:
    """The local day of a check: of its time nothing else decides."""
    return None if performed_at is None else performed_at[:_DATE]


class Odd(Exception):  # noqa: N818  no error: such a request goes the long way
    """Something that is not as usual."""


@dataclass(frozen=True, slots=True)
class Settled:
    """What many requests have in common, down to the terms they are judged by.

    `made` is what was made of their readings so far. Readings of the same weights repeat: they
    differ by a few steps of the display. `writers`: by the version that stands in answers.
    """

    prepared: Prepared
    profile: ProfileIdentity
    made: dict[Any, Any] = field(default_factory=dict)
    digests: dict[Any, DigestTemplate] = field(default_factory=dict)
    writers: dict[str, Writer] = field(default_factory=dict)


class Periods:
    """What requests have in common but for their day, settled for each period it makes differ."""

    def __init__(self, turns: list[str]) -> None:
        self._turns = turns
        self.settled: dict[int, Settled] = {}

    def of(self, day: str | None) -> int:
        """The period of a day; no day at all is one of its own."""
        return -1 if day is None else bisect_right(self._turns, day)


class Settling:
    """What was settled, by key and period. Keys are of one kind of value.

    Threads may share one, if none of them keeps what it makes.
    """

    def __init__(self, at_hand: AtHand, most_made: int = 0) -> None:
        self._at_hand = at_hand
        self._known: dict[Any, Periods] = {}
        self._settled = 0
        self._made, self._most_made = 0, most_made

    def known(self, key: Any, day: str | None) -> Settled | None:
        """What was settled for requests of this key on that day."""
        periods = self._known.get(key)
        return None if periods is None else periods.settled.get(periods.of(day))

    def settle(self, kind: Kind, document: dict[str, Any], key: Any, day: str | None) -> Settled:
        """What the request has in common with all others of its key and period.

        Raises:
            Odd: its kind cannot be prepared.
            Refusal: the request is faulty.
        """
        if kind.preparation is None:
            raise Odd
        asked, profile = read(kind, document, self._at_hand.find)
        circumstances = asked.check.circumstances
        terms = terms_for(profile, kind.slug, circumstances)
        prepared = kind.preparation.prepare(asked.check, terms)
        if self._settled >= KEPT:
            # Not cleared: another thread may be at work with it.
            self._known, self._settled = {}, 0
        periods = self._known.get(key)
        if periods is None:
            periods = Periods(self._at_hand.turns(circumstances.weights.values()))
            self._known[key] = periods
        settled = Settled(prepared, terms.profile)
        periods.settled[periods.of(day)] = settled
        self._settled += 1
        return settled

    def keep(self, settled: Settled, readings: Any, made: Any) -> None:
        """Keep what was made of readings; where there is too much, begin anew."""
        if self._made >= self._most_made:
            for periods in self._known.values():
                for one in periods.settled.values():
                    one.made.clear()
            self._made = 0
        self._made += 1
        settled.made[readings] = made
