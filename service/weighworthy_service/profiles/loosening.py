"""Does a profile loosen what it builds on? Then it has to say why.

A setting is looser if some reading, on some balance, could get a better verdict by it than by the
setting of the parent that it replaces, or a check could be done less often. Where nothing is
certain without knowing the balance, it counts as looser.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import partial
from types import MappingProxyType
from typing import Any, Final

from weighworthy_service.checks.flaws import Flaw
from weighworthy_service.checks.terms import (
    SEVERITIES,
    AtLeast,
    Decision,
    LimitInForce,
    ScatterShare,
    Severity,
    StartWindow,
    WeightShare,
)
from weighworthy_service.metrology.quantity import read_quantity
from weighworthy_service.profiles.document import (
    Profile,
    Requirement,
    Rule,
    Schedule,
    matches,
)
from weighworthy_service.profiles.limit_forms import Path
from weighworthy_service.profiles.overlap import Overlap
from weighworthy_service.profiles.tightness import as_tight

# What lacking a condition means where no profile says anything (None: it is not asked).
_UNSAID: Final[Mapping[str, Severity]] = MappingProxyType(
    {
        "weights_in_date": "void",
        "weights_in_class": "warning",
        "stable": "void",
        "uncertainty_within_tolerance": "warning",
    }
)
_CORRELATIONS: Final = ("independent", "by-sign", "worst")  # by growing uncertainty
# Shortest and longest time of a calendar period in s, which are what can be relied on.
_DAY: Final = 86_400
_PERIODS: Final = MappingProxyType(
    {
        "day": (_DAY, _DAY),
        "week": (7 * _DAY, 7 * _DAY),
        "month": (28 * _DAY, 31 * _DAY),
        "year": (365 * _DAY, 366 * _DAY),
    }
)


@dataclass(frozen=True)
class _Setting:
    """One setting of one rule: its path in the rule, its value, which value is as tight."""

    path: Path
    of: Callable[[Rule], Any]
    as_tight: Callable[[Any, Any], bool]
    unsaid: Any = None


def loosening_flaws(
    parent: Profile, rules: Sequence[Rule], use_on: Sequence[str], slugs: Iterable[str]
) -> Iterator[Flaw]:
    """Every setting of `rules` that loosens the parent's without its rule giving a reason."""
    slugs = tuple(slugs)
    decisions = [r.decision for r in (*parent.rules, *rules) if r.decision is not None]
    rounding = any(decision.rounding == "rounding" for decision in decisions)
    four_way = any(decision.rule == "four-way" for decision in decisions)
    overlap = Overlap((*parent.rules, *rules))
    for position, rule in enumerate(rules):
        if rule.loosens is not None:
            continue
        here = len(parent.rules) + position
        covering = overlap.covering(here)
        replaced = [
            (candidate, covering >> at & 1 == 1)
            for at, candidate in reversed(list(enumerate(parent.rules)))
            if overlap.may_meet(at, here)
        ]
        for setting in _settings(rule, rounding=rounding, four_way=four_way):
            where = _loosened(replaced, rule, setting, slugs)
            if where is not None:
                yield Flaw(
                    ("rules", position, *setting.path),
                    "loosens",
                    f"{'.'.join(map(str, setting.path))} is looser than in {where}, or cannot be "
                    "shown to be as tight on every balance: say why in this rule, with "
                    'loosens = "reason"',
                )
    more = [verdict for verdict in use_on if verdict not in parent.use_on]
    if more:
        yield Flaw(
            ("use_on",),
            "loosens",
            f"{parent.name} does not let {', '.join(more)} be used: say why in the profile, with "
            'loosens = "reason"',
        )


def setting_as_tight(name: str, own: Any, theirs: Any, *, four_way: bool) -> bool:
    """Whether a setting that is no limit, like `schedule` or `validity.stable`, is as tight.

    `four_way`: the four-way rule may decide, under which more uncertainty can help a value too.
    """
    if name.startswith("validity."):
        return _requirement(own, theirs)
    match name:
        case "decision":
            return _decision(own, theirs)
        case "start_window":
            return _window(own, theirs)
        case "weights_correlation":
            return _correlation(own, theirs, four_way=four_way)
        case "schedule":
            return _schedule(own, theirs)
    return bool(own == theirs)


def _loosened(
    replaced: Sequence[tuple[Rule, bool]], rule: Rule, setting: _Setting, slugs: Sequence[str]
) -> str | None:
    """Where what the setting replaces stands, if it may be tighter; otherwise None.

    `replaced` are the parent's rules that the rule may meet, the last first, and whether each
    covers it.
    """
    value = setting.of(rule)
    for slug in slugs:
        if not matches(rule.checks, slug):
            continue
        for candidate, covers in replaced:
            theirs = setting.of(candidate)
            if theirs is None or not matches(candidate.checks, slug):
                continue
            if not setting.as_tight(value, theirs):
                return f"{candidate.origin.document} {candidate.origin.pointer}"
            if covers:
                break  # nothing above it can be in force where the rule applies
        else:
            if setting.unsaid is not None and not setting.as_tight(value, setting.unsaid):
                return "what holds where no rule says anything"
    return None


def _settings(rule: Rule, *, rounding: bool, four_way: bool) -> Iterator[_Setting]:
    for name in rule.limits:
        yield _Setting(
            ("limits", name),
            partial(_member, "limits", name),
            lambda a, b: _limit(a, b, rounding=rounding),
        )
    for name in rule.validity:
        yield _Setting(
            ("validity", name),
            partial(_member, "validity", name),
            _requirement,
            _UNSAID.get(name),
        )
    if rule.decision is not None:
        yield _Setting(("decision",), lambda r: r.decision, _decision, Decision())
    if rule.start_window is not None:
        yield _Setting(("start_window",), lambda r: r.start_window, _window)
    if rule.weights_correlation is not None:
        yield _Setting(
            ("weights_correlation",),
            lambda r: r.weights_correlation,
            lambda a, b: _correlation(a, b, four_way=four_way),
            "by-sign",
        )
    if rule.schedule is not None:
        yield _Setting(("schedule",), lambda r: r.schedule, _schedule)


def _member(of: str, name: str, rule: Rule) -> Any:
    return getattr(rule, of).get(name)


def _limit(own: LimitInForce, theirs: LimitInForce, *, rounding: bool) -> bool:
    return as_tight(own.limit, theirs.limit, rounding=rounding)


def _severity(own: Severity, theirs: Severity) -> bool:
    return SEVERITIES.index(own) <= SEVERITIES.index(theirs)


def _requirement(own: Requirement, theirs: Requirement) -> bool:
    if isinstance(own, AtLeast) and isinstance(theirs, AtLeast):
        return own.at_least >= theirs.at_least and _severity(own.otherwise, theirs.otherwise)
    if isinstance(own, WeightShare) and isinstance(theirs, WeightShare):
        smaller = Fraction(own.numerator, own.denominator) <= Fraction(
            theirs.numerator, theirs.denominator
        )
        return smaller and _severity(own.otherwise, theirs.otherwise)
    if isinstance(own, ScatterShare) and isinstance(theirs, ScatterShare):
        return (
            own.share <= theirs.share
            and own.floor >= theirs.floor
            and own.observations >= theirs.observations
            and _severity(own.otherwise, theirs.otherwise)
        )
    if isinstance(own, str) and isinstance(theirs, str):
        return _severity(own, theirs)
    return False


def _decision(own: Decision, theirs: Decision) -> bool:
    if (own.rounding, own.rounding_to) != (theirs.rounding, theirs.rounding_to) and (
        # Without rounding the same limit is tighter; a step of its own may round inwards too.
        own.rounding != "absolute" or theirs.rounding_to is not None
    ):
        return False
    as_certain = own.guard_factor >= theirs.guard_factor and own.coverage >= theirs.coverage
    if own.rule == theirs.rule == "four-way":
        # A wider band takes from pass, and gives to conditional-fail what was a fail.
        return (own.guard_factor, own.coverage) == (theirs.guard_factor, theirs.coverage)
    if theirs.rule == "simple":
        return own.rule != "four-way" and own.coverage >= theirs.coverage
    return own.rule == "guarded" and as_certain


def _window(own: StartWindow, theirs: StartWindow) -> bool:
    inside = abs(own.target - theirs.target) + own.allowance <= theirs.allowance
    return inside and _severity(own.otherwise, theirs.otherwise)


def _correlation(own: str, theirs: str, *, four_way: bool) -> bool:
    if four_way:
        return own == theirs
    return _CORRELATIONS.index(own) >= _CORRELATIONS.index(theirs)


def _schedule(own: Schedule, theirs: Schedule) -> bool:
    often = theirs.every is None or (
        own.every is not None
        and (own.every == theirs.every or _period(own.every)[1] <= _period(theirs.every)[0])
    )
    return (
        often
        and (theirs.at is None or own.at == theirs.at)
        and (own.grace or 0) <= (theirs.grace or 0)
        and set(own.after) >= set(theirs.after)
    )


def _period(every: str) -> tuple[Any, Any]:
    if every in _PERIODS:
        return _PERIODS[every]
    seconds = read_quantity(every, "time", "positive")
    return seconds, seconds
