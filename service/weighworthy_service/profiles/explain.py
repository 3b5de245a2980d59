"""Which settings are in force for one check, who made them, and which rules lost."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.kind import Kind
from weighworthy_service.checks.terms import LimitInForce
from weighworthy_service.metrology.limits import Basis, Interval, NotResolvedError
from weighworthy_service.profiles.document import Profile, Rule
from weighworthy_service.profiles.settings import stated_settings


@dataclass(frozen=True, slots=True)
class Candidate:
    """A value in its JSON form, by a rule that applies (None: by the profile as a whole)."""

    value: Any
    rule: Rule | None


@dataclass(frozen=True, slots=True)
class Setting:
    """A setting like `limits.loss_error`: the last rule that makes it wins, and wins whole.

    `interval` is a limit in g or %, where that can be told; `lost` has the nearest loser first.
    """

    name: str
    winner: Candidate
    lost: tuple[Candidate, ...]
    interval: Interval | None = None

    @property
    def path(self) -> tuple[str, ...]:
        """Where a rule states it."""
        return tuple(self.name.split(".", 1))


def explain(
    profile: Profile,
    kind: Kind,
    stage: str | None,
    circumstances: Circumstances,
    load: Decimal | None = None,
) -> tuple[Setting, ...]:
    """Every setting in force, in the order of their names; `load`: nominal, in g."""
    found: dict[str, list[Candidate]] = {}
    for name, candidate in _candidates(profile, kind, stage, circumstances):
        found.setdefault(name, []).insert(0, candidate)
    return tuple(
        Setting(name, winner, tuple(lost), _interval(winner, name, kind, circumstances, load))
        for name, (winner, *lost) in sorted(found.items())
    )


def _candidates(
    profile: Profile, kind: Kind, stage: str | None, circumstances: Circumstances
) -> Iterator[tuple[str, Candidate]]:
    """Every setting that applies, from top to bottom."""
    yield "use_on", Candidate(list(profile.use_on), None)
    rules: list[Mapping[str, Any]] = profile.document["rules"]
    for rule, document in zip(profile.rules, rules, strict=True):
        if rule.applies(kind.slug, stage, circumstances):
            for name, value in stated_settings(document, kind):
                yield name, Candidate(value, rule)


def _interval(
    winner: Candidate,
    name: str,
    kind: Kind,
    circumstances: Circumstances,
    load: Decimal | None,
) -> Interval | None:
    criterion = next((c for c in kind.criteria if f"limits.{c.name}" == name), None)
    if criterion is None or winner.rule is None:
        return None
    in_force: LimitInForce = winner.rule.limits[criterion.name]
    basis = Basis(circumstances.instrument, load if criterion.on_pan else None, criterion.unit)
    try:
        return in_force.limit.at(basis)
    except NotResolvedError:
        return None
