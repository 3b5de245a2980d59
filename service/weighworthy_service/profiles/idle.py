"""Rules that do nothing: overruled by later ones, or for no balance at hand."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.kind import Kind
from weighworthy_service.metrology.instrument import Instrument
from weighworthy_service.profiles.document import (
    JUDGED_STAGES,
    Profile,
    Rule,
    matches,
)
from weighworthy_service.profiles.explain import explain
from weighworthy_service.profiles.overlap import Overlap
from weighworthy_service.profiles.settings import stated_settings


@dataclass(frozen=True, slots=True)
class Idle:
    """A rule of the profile itself, or one setting of it (`path`), that never comes into force."""

    rule: Rule
    path: tuple[str, ...]
    overruled_by: tuple[Rule, ...] = ()


def overruled(profile: Profile, kinds: Sequence[Kind]) -> Iterator[Idle]:
    """Rules and settings for which a later rule stands wherever they apply, whatever the balance.

    Rules of a parent are left out: to be overruled is what they are for.
    """
    overlap = Overlap(profile.rules)
    for position, rule in enumerate(profile.rules):
        if rule.origin.document != profile.name:
            continue
        covering = overlap.covering(position)
        by: dict[str, set[int] | None] = {}
        for kind in kinds:
            if not matches(rule.checks, kind.slug):
                continue
            for name, _ in stated_settings(profile.document["rules"][position], kind):
                winner = _winner(profile, kind, position, name, covering)
                known = by.setdefault(name, set())
                if winner is None or known is None:
                    by[name] = None
                else:
                    known.add(winner)
        lost = {name: sorted(winners) for name, winners in by.items() if winners is not None}
        if by and len(lost) == len(by):
            winners = sorted({w for each in lost.values() for w in each})
            yield Idle(rule, (), tuple(profile.rules[w] for w in winners))
            continue
        for name, each in lost.items():
            yield Idle(rule, tuple(name.split(".", 1)), tuple(profile.rules[w] for w in each))


def unmatched(profile: Profile, instruments: Iterable[Instrument]) -> Iterator[Idle]:
    """Rules of the profile itself under which none of these balances comes, whatever the check."""
    instruments = tuple(instruments)
    for rule in profile.rules:
        if rule.origin.document == profile.name and not any(
            matches(rule.sites, i.site)
            and matches(rule.models, i.model)
            and matches(rule.instruments, i.id)
            for i in instruments
        ):
            yield Idle(rule, ())


def never_in_force(
    profile: Profile, kinds: Sequence[Kind], sittings: Iterable[Circumstances]
) -> Iterator[Idle]:
    """Rules of the profile itself that set nothing in any check of these balances.

    Rules for methods are left out where no method is stated.
    """
    winning: set[int] = set()
    method = None
    for circumstances in sittings:
        method = circumstances.method
        for kind in kinds:
            stages = (None, *JUDGED_STAGES) if kind.staged else (None,)
            for stage in stages:
                winning |= {
                    id(setting.winner.rule)
                    for setting in explain(profile, kind, stage, circumstances)
                }
    for rule in profile.rules:
        own = rule.origin.document == profile.name
        if own and id(rule) not in winning and (method is not None or rule.methods is None):
            yield Idle(rule, ())


def _winner(profile: Profile, kind: Kind, position: int, name: str, covering: int) -> int | None:
    """A later rule that sets the same wherever the one at `position` applies.

    `covering` are the rules, as bits, that match all that it matches.
    """
    for later in range(position + 1, len(profile.rules)):
        other = profile.rules[later]
        if (
            covering >> later & 1
            and matches(other.checks, kind.slug)
            and any(n == name for n, _ in stated_settings(profile.document["rules"][later], kind))
        ):
            return later
    return None
