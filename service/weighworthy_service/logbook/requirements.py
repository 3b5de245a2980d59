"""What a profile requires of one instrument: which checks, when, and what to do after a failure."""

from collections.abc import Iterable
from typing import NamedTuple

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.registry import KINDS
from weighworthy_service.metrology.instrument import Instrument
from weighworthy_service.profiles.document import Profile, Rule, Schedule, Step


class Scheduled(NamedTuple):
    """A schedule in force and the place of its rule: `id@revision /rules/3/schedule`."""

    schedule: Schedule
    place: str


class Requirement(NamedTuple):
    """A kind of check that is required: by every schedule at once, the earliest demand counts.

    `response` is the ladder after a failure, empty where the profile has none.
    """

    check: str
    schedules: tuple[Scheduled, ...]
    response: tuple[Step, ...] = ()
    response_place: str | None = None

    @property
    def occasions(self) -> frozenset[str]:
        """After which this check is asked for."""
        return frozenset(o for one in self.schedules for o in one.schedule.after)


def requirements_of(
    profile: Profile, instrument: Instrument, methods: Iterable[str | None] = (None,)
) -> tuple[Requirement, ...]:
    """In the order of the registry; a kind without a schedule in force is not required.

    Rules that single out a stage set no schedule of a whole check. With several methods, what each
    of them asks for is required.
    """
    found = []
    for kind in KINDS:
        schedules: dict[Scheduled, None] = {}
        ladder: Rule | None = None
        for method in methods:
            there = Circumstances(instrument, {}, method=method)
            rules = [rule for rule in profile.rules if rule.applies(kind.slug, None, there)]
            last = next((rule for rule in reversed(rules) if rule.schedule), None)
            if last is not None and last.schedule is not None:
                schedules[Scheduled(last.schedule, _place(last, "schedule"))] = None
            ladder = ladder or next((rule for rule in reversed(rules) if rule.response), None)
        if schedules:
            found.append(
                Requirement(
                    kind.slug,
                    tuple(schedules),
                    (ladder.response or ()) if ladder else (),
                    _place(ladder, "response") if ladder else None,
                )
            )
    return tuple(found)


def _place(rule: Rule, setting: str) -> str:
    return f"{rule.origin.document} {rule.origin.pointer}/{setting}"
