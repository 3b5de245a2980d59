"""What is remarkable in a profile, by itself and for given balances, weights and loads."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import islice

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.flaws import SenseError
from weighworthy_service.checks.kind import Kind
from weighworthy_service.checks.registry import KINDS
from weighworthy_service.checks.rehearsal import Load, Loads
from weighworthy_service.profiles.document import Profile, Rule
from weighworthy_service.profiles.idle import never_in_force, overruled, unmatched
from weighworthy_service.profiles.judgement import Judgement
from weighworthy_service.profiles.on_balance import Remark, judged_on


@dataclass(frozen=True, slots=True)
class Judged:
    """A limit, made by a rule, judged on the balance at a position of the request."""

    instrument: int
    row: Judgement
    rule: Rule | None


@dataclass(frozen=True, slots=True)
class Review:
    """Remarks, worst first, and the judgement of every limit."""

    remarks: tuple[Remark, ...]
    judgement: tuple[Judged, ...]


def review(
    profile: Profile,
    sittings: Sequence[Circumstances] = (),
    loads: Mapping[str, Loads] | None = None,
    of_balances: Fraction | None = None,
    kinds: Sequence[Kind] = KINDS,
) -> Review:
    """Review a profile without flaws. `sittings`: each balance with the weights at hand.

    `loads`: what the `loads` of a kind has read, by kind; kinds that need none are always judged.
    """
    remarks = list(_idle_remarks(profile, sittings, kinds))
    judged: list[Judged] = []
    for kind in kinds:
        given = (loads or {}).get(kind.slug)
        if not given and (kind.loads is not None or not _limited(profile, kind)):
            continue
        told: list[Remark] = []
        sound: set[Load] = set()
        for position, circumstances in enumerate(sittings):
            called = circumstances.instrument.id or f"balance {position + 1} of the request"
            try:
                found = judged_on(profile, kind, circumstances, given, of_balances)
            except SenseError as error:
                message = f"no {kind.slug} check with these weights: {error.flaws[0].detail}"
                told.append(Remark("not-possible", "warning", message, about=called))
                continue
            judged += [Judged(position, row, rule) for row, rule in found.rows]
            told += [replace(remark, about=called) for remark in found.remarks]
            sound |= found.sound
        # Loads are for all balances: one too many for some of them is no fault of the profile.
        remarks += [
            replace(remark, severity="warning") if remark.load in sound else remark
            for remark in told
        ]
    remarks += _without_loads(profile, sittings, loads or {}, kinds)
    judged.sort(key=lambda row: row.instrument)
    return Review(tuple(_gathered(remarks)), tuple(judged))


def _idle_remarks(
    profile: Profile, sittings: Sequence[Circumstances], kinds: Sequence[Kind]
) -> Iterator[Remark]:
    told: set[int] = set()
    for idle in overruled(profile, kinds):
        if not idle.path:
            told.add(id(idle.rule))
        by = ", ".join(f"{r.origin.document} {r.origin.pointer}" for r in idle.overruled_by)
        what = ".".join(idle.path) or "nothing it sets"
        never = (
            f"{what} of this rule never comes into force" if idle.path else f"{what} ever counts"
        )
        yield Remark(
            "setting-overruled" if idle.path else "rule-overruled",
            "warning",
            f"{never}: wherever the rule applies, a later one stands instead ({by})",
            idle.rule,
            idle.path,
        )
    if not sittings:
        return
    for idle in unmatched(profile, [c.instrument for c in sittings]):
        if id(idle.rule) not in told:
            told.add(id(idle.rule))
            message = "none of the balances given comes under this rule"
            yield Remark("rule-unused", "warning", message, idle.rule)
    for idle in never_in_force(profile, kinds, sittings):
        if id(idle.rule) not in told:
            message = "nothing this rule sets comes into force for the balances given"
            yield Remark("rule-unused", "note", message, idle.rule)


def _without_loads(
    profile: Profile,
    sittings: Sequence[Circumstances],
    loads: Mapping[str, Loads],
    kinds: Sequence[Kind],
) -> Iterator[Remark]:
    for kind in kinds:
        lacking = kind.loads is not None and not loads.get(kind.slug)
        if sittings and lacking and _limited(profile, kind):
            message = f"limits of {kind.slug} checks are not judged: no loads are given for them"
            yield Remark("not-judged", "note", message)


def _limited(profile: Profile, kind: Kind) -> bool:
    names = {name.name for name in kind.criteria}
    return any(names & set(rule.limits) for rule in profile.rules)


def _gathered(remarks: Iterable[Remark]) -> list[Remark]:
    """Worst first; what is said of one place for several balances or loads, once with a count."""
    order = ("error", "warning", "note")
    same: dict[tuple[object, ...], dict[tuple[str | None, str], Remark]] = {}
    for remark in remarks:
        # Without a place there is nothing but the sentence to tell remarks apart.
        sentence = remark.message if remark.rule is None else ""
        key = (remark.severity, remark.code, id(remark.rule), remark.path, sentence)
        same.setdefault(key, {}).setdefault((remark.about, remark.message), remark)
    groups = [list(alike.values()) for alike in same.values()]
    gathered = [replace(alike[0], message=_sentence(alike)) for alike in groups]
    return sorted(gathered, key=lambda remark: order.index(remark.severity))


def _sentence(alike: Sequence[Remark]) -> str:
    first, *more = alike
    about = f"{first.about}: " if first.about else ""
    if not more:
        return about + first.message
    others = dict.fromkeys(r.about for r in more if r.about and r.about != first.about)
    also = f"; also {', '.join(islice(others, 3))}" if others else ""
    left = len(others) - 3
    and_more = f" and {left} other{'s' if left > 1 else ''}" if left > 0 else ""
    return f"{about}{first.message} ({len(more)} more like it{also}{and_more})"
