"""What a profile requires of one instrument: which checks, when, and what to do after a failure."""

from collections.abc import Iterable, Sequence
from typing import Any, NamedTuple

from weighworthy_service.checks.registry import KINDS
from weighworthy_service.metrology.instrument import Instrument
from weighworthy_service.profiles.document import Profile, Rule, Schedule, Step, matches


class Scheduled(NamedTuple):
    """A schedule in force and the place of its rule: `id@revision /rules/3/schedule`."""

    schedule: Schedule
    place: str


class Requirement(NamedTuple):
    """A kind of check that is required: by every schedule at once, the earliest demand counts.

    Without schedules it is not required, and only says what to do where it failed all the same.
    `response` is the ladder after a failure, empty where the profile has none.
    """

    check: str
    schedules: tuple[Scheduled, ...]
    response: tuple[Step, ...] = ()
    response_place: str | None = None

    @property
    def required(self) -> bool:
        """Whether any schedule asks for it."""
        return bool(self.schedules)

    @property
    def occasions(self) -> frozenset[str]:
        """After which this check is asked for."""
        return frozenset(o for one in self.schedules for o in one.schedule.after)


class Requiring:
    """What a profile requires of instruments, each rule held against each name once.

    A logbook may list thousands of instruments with dozens of methods, under hundreds of rules, and
    most are alike to the rules.
    """

    def __init__(self, profile: Profile) -> None:
        # Rules that single out a stage set no schedule of a whole check.
        self._rules = tuple(
            rule
            for rule in profile.rules
            if rule.stages is None and (rule.schedule is not None or rule.response is not None)
        )
        self._by_method: dict[str | None, frozenset[int]] = {}
        self._known: dict[tuple[Any, ...], tuple[Requirement, ...]] = {}

    def of(
        self, instrument: Instrument, methods: Iterable[str | None] = (None,)
    ) -> tuple[Requirement, ...]:
        """In the order of the registry; a kind without a schedule in force is not required.

        With several methods, what each of them asks for is required. A kind that no schedule asks
        for is here with its ladder, where it has one.
        """
        there = tuple(
            position
            for position, rule in enumerate(self._rules)
            if matches(rule.sites, instrument.site)
            and matches(rule.models, instrument.model)
            and matches(rule.instruments, instrument.id)
        )
        same = there, tuple(methods)
        if same not in self._known:
            # Methods that no rule tells apart are one.
            alike = tuple(dict.fromkeys(self._chosen(method) for method in same[1]))
            if (there, alike) not in self._known:
                self._known[there, alike] = self._settled(there, alike)
            self._known[same] = self._known[there, alike]
        return self._known[same]

    def _chosen(self, method: str | None) -> frozenset[int]:
        if method not in self._by_method:
            self._by_method[method] = frozenset(
                position
                for position, rule in enumerate(self._rules)
                if matches(rule.methods, method)
            )
        return self._by_method[method]

    def _settled(
        self, there: Sequence[int], alike: Sequence[frozenset[int]]
    ) -> tuple[Requirement, ...]:
        found = []
        for kind in KINDS:
            own = [
                position for position in there if matches(self._rules[position].checks, kind.slug)
            ]
            schedules: dict[Scheduled, None] = {}
            ladder: Rule | None = None
            for chosen in alike:
                rules = [self._rules[position] for position in reversed(own) if position in chosen]
                last = next((rule for rule in rules if rule.schedule), None)
                if last is not None and last.schedule is not None:
                    schedules[Scheduled(last.schedule, _place(last, "schedule"))] = None
                ladder = ladder or next((rule for rule in rules if rule.response), None)
            if schedules or ladder is not None:
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
