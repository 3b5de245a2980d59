"""What is remarkable about one kind of check on one balance, with the weights at hand."""

from collections import ChainMap
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Final, Literal

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.kind import Kind
from weighworthy_service.checks.rehearsal import Load, Loads
from weighworthy_service.profiles.document import JUDGED_STAGES, Profile, Rule
from weighworthy_service.profiles.explain import Setting, explain
from weighworthy_service.profiles.judgement import Judgement, judge_limits
from weighworthy_service.profiles.limit_remarks import Said, limit_remarks, window_remarks
from weighworthy_service.profiles.spoiling import OF_THE_LOAD, Met

Severity = Literal["error", "warning", "note"]

# What a check says of its uncertainty that speaks of the balance, not of readings.
_PASSED_ON: Final[Mapping[str, Severity]] = {
    "few-degrees-of-freedom": "warning",
    "repeatability-not-stated": "note",
    "repeatability-zero": "note",
}
# What remarks on limits say themselves, and what one on a window says instead.
_TOLD: Final = ("uncertainty-exceeds-tolerance", "weights-too-coarse")
# Why limits of a kind are not judged of which nothing is known before a check; its module
# `rehearsal` may give a better reason by this name.
_NOT_REHEARSED: Final = "balance and weights do not tell what such a check will rest on"
_SAID_AS: Final = {"start-window-contradicts-weights": "start-load-off-window"}


@dataclass(frozen=True, slots=True)
class Remark:
    """Something remarkable about a setting of a rule; of no rule, about the profile as a whole.

    `about` is the balance it is about, if any; `load` the load, where another one would mend it.
    """

    code: str
    severity: Severity
    message: str
    rule: Rule | None = None
    path: tuple[str, ...] = ()
    about: str | None = None
    load: Load = ()


@dataclass(frozen=True, slots=True)
class OnBalance:
    """A kind of check on one balance; `sound`: the loads with which a check can count."""

    rows: list[tuple[Judgement, Rule | None]]
    remarks: list[Remark]
    sound: set[Load]


def judged_on(
    profile: Profile,
    kind: Kind,
    circumstances: Circumstances,
    loads: Loads,
    of_balances: Fraction | None = None,
) -> OnBalance:
    """Judge a kind of check on one balance with the weights at hand.

    Raises:
        SenseError: with these weights there is no such check on this balance.
    """
    stages = (None, *JUDGED_STAGES) if kind.staged else (None,)
    in_force = {
        stage: {s.name: s for s in explain(profile, kind, stage, circumstances)} for stage in stages
    }
    schedules = {
        stage: settings["schedule"].winner.value.get("every") if "schedule" in settings else None
        for stage, settings in in_force.items()
    }
    tried = kind.rehearse(circumstances, loads)
    rows, found = judge_limits(
        profile, kind, circumstances, tried, every=schedules, of_balances=of_balances
    )
    given = [rehearsal.load for rehearsal in tried if rehearsal.load]
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
    if window is not None:
        remarks += [
            _remark(said, window.winner.rule, ("start_window",))
            for load in given
            for said in window_remarks(window.winner.rule, load, circumstances)
        ]
    told = {*_TOLD, *(_SAID_AS[r.code] for r in remarks if r.code in _SAID_AS)}
    if any(name.startswith("limits.") for settings in in_force.values() for name in settings):
        untold = [m for m in found if m.spoils and m.finding.code not in told]
        remarks += _spoiling(untold, kind, circumstances, in_force)
    if not tried:
        remarks += _untold(kind, in_force)
    remarks += _passed_on(found)
    sound = set(given) - {m.load for m in found if m.spoils}
    return OnBalance(list(zip(rows, made_by, strict=True)), remarks, sound)


def _spoiling(
    found: Iterable[Met],
    kind: Kind,
    circumstances: Circumstances,
    in_force: Mapping[str | None, Mapping[str, Setting]],
) -> Iterator[Remark]:
    """What makes every check void, at the setting that asks for it; else at the first limit."""
    limits = [f"limits.{criterion.name}" for criterion in kind.criteria]
    for m in found:
        # Of a whole run, its points have said it one by one.
        if m.finding.code in OF_THE_LOAD and not m.load:
            continue
        stage = m.criterion.stage if m.criterion is not None else None
        settings = ChainMap(*map(dict, (in_force[stage], *in_force.values())))
        by = next(
            (settings[name] for name in (m.setting, *limits) if name and name in settings), None
        )
        yield Remark(
            m.finding.code,
            "error",
            m.sentence(kind.slug, circumstances),
            by.winner.rule if by is not None else None,
            by.path if by is not None else (),
            load=m.load if m.finding.code in OF_THE_LOAD else (),
        )


def _untold(kind: Kind, in_force: Mapping[str | None, Mapping[str, Setting]]) -> Iterator[Remark]:
    """That nothing is told of limits, at the first of them, with the reason of the kind."""
    settings = ChainMap(*map(dict, in_force.values()))
    limits = [f"limits.{criterion.name}" for criterion in kind.criteria]
    first = next((settings[name] for name in limits if name in settings), None)
    if first is None:
        return
    reason = getattr(kind.part("rehearsal"), "NOT_REHEARSED", _NOT_REHEARSED)
    message = f"limits of {kind.slug} checks are not judged: {reason}"
    yield Remark("not-judged", "note", message, first.winner.rule, first.path)


def _remark(said: Said, rule: Rule | None, path: tuple[str, ...]) -> Remark:
    return Remark(said.code, said.severity, said.message, rule, path)


def _passed_on(found: Iterable[Met]) -> Iterator[Remark]:
    for finding in dict.fromkeys(m.finding for m in found):
        severity = _PASSED_ON.get(finding.code)
        if severity is not None:
            yield Remark(finding.code, severity, finding.message)
