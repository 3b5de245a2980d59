"""What is remarkable in a profile, by itself and for given balances, weights and loads."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import islice
from typing import Final, Literal

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.flaws import SenseError
from weighworthy_service.checks.kind import Kind
from weighworthy_service.checks.outcome import Finding
from weighworthy_service.checks.registry import KINDS
from weighworthy_service.checks.rehearsal import Loads, LossLoads
from weighworthy_service.profiles.document import JUDGED_STAGES, STAGED_CHECK, Profile, Rule
from weighworthy_service.profiles.explain import explain
from weighworthy_service.profiles.idle import never_in_force, overruled, unmatched
from weighworthy_service.profiles.judgement import Judgement, judge_limits
from weighworthy_service.profiles.limit_remarks import Said, limit_remarks, window_remarks

Severity = Literal["error", "warning", "note"]

# Findings of a check that speak of the profile or of what is asked, not of readings.
_PASSED_ON: Final = {
    "no-limit-for-load": "warning",
    "not-stated": "warning",
    "few-degrees-of-freedom": "warning",
    "repeatability-not-stated": "note",
    "repeatability-zero": "note",
    "overload": "warning",
}
# What a check asks of its sitting, which a review cannot know.
_OF_THE_SITTING: Final = ("/warm_up", "/performed_at", "/weights")


@dataclass(frozen=True, slots=True)
class Remark:
    """Something remarkable about a setting of a rule; of no rule, about the profile as a whole.

    `about` is the balance it is about, if any.
    """

    code: str
    severity: Severity
    message: str
    rule: Rule | None = None
    path: tuple[str, ...] = ()
    about: str | None = None


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
    """Review a profile without flaws. `sittings`: each balance with the weights at hand."""
    remarks = list(_idle_remarks(profile, sittings, kinds))
    judged: list[Judged] = []
    for position, circumstances in enumerate(sittings):
        called = circumstances.instrument.id or f"balance {position + 1} of the request"
        for kind in kinds:
            given = (loads or {}).get(kind.slug)
            if not given:
                continue
            try:
                rows, said = _judge(profile, kind, circumstances, given, of_balances)
            except SenseError as error:
                message = f"no {kind.slug} check with these weights: {error.flaws[0].detail}"
                remarks.append(Remark("not-possible", "warning", message, about=called))
                continue
            judged += [Judged(position, row, rule) for row, rule in rows]
            remarks += [replace(remark, about=called) for remark in said]
    remarks += _without_loads(profile, sittings, loads or {}, kinds)
    return Review(tuple(_gathered(remarks)), tuple(judged))


def _judge(
    profile: Profile,
    kind: Kind,
    circumstances: Circumstances,
    loads: Loads,
    of_balances: Fraction | None,
) -> tuple[list[tuple[Judgement, Rule | None]], list[Remark]]:
    stages = (None, *JUDGED_STAGES) if kind.slug == STAGED_CHECK else (None,)
    in_force = {
        stage: {s.name: s for s in explain(profile, kind, stage, circumstances)} for stage in stages
    }
    schedules = {
        stage: settings["schedule"].winner.value.get("every") if "schedule" in settings else None
        for stage, settings in in_force.items()
    }
    rows, findings = judge_limits(
        profile, kind, circumstances, loads, every=schedules, of_balances=of_balances
    )
    remarks = []
    made_by = []
    for row in rows:
        rule = in_force[row.criterion.stage][f"limits.{row.name.name}"].winner.rule
        made_by.append(rule)
        remarks += [
            _remark(said, rule, ("limits", row.name.name))
            for said in limit_remarks(row, circumstances.instrument)
        ]
    window = in_force[None].get("start_window")
    if window is not None and isinstance(loads, LossLoads):
        remarks += [
            _remark(said, window.winner.rule, ("start_window",))
            for said in window_remarks(window.winner.rule, loads, circumstances)
        ]
    return list(zip(rows, made_by, strict=True)), [*remarks, *_passed_on(findings)]


def _remark(said: Said, rule: Rule | None, path: tuple[str, ...]) -> Remark:
    return Remark(said.code, said.severity, said.message, rule, path)


def _passed_on(findings: Iterable[Finding]) -> Iterator[Remark]:
    for finding in dict.fromkeys(findings):
        severity = _PASSED_ON.get(finding.code)
        if severity is not None and not (finding.field or "").startswith(_OF_THE_SITTING):
            yield Remark(finding.code, severity, finding.message)  # type: ignore[arg-type]


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
        names = {name.name for name in kind.criteria}
        limited = any(names & set(rule.limits) for rule in profile.rules)
        if sittings and limited and not loads.get(kind.slug):
            message = f"limits of {kind.slug} checks are not judged: no loads are given for them"
            yield Remark("not-judged", "note", message)


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
    and_more = f" and {len(others) - 3} others" if len(others) > 3 else ""
    return f"{about}{first.message} ({len(more)} more like it{also}{and_more})"
