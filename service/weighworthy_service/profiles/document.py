"""A tolerance profile as a frozen value: rules from top to bottom, each with its selectors."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from fnmatch import fnmatchcase
from types import MappingProxyType
from typing import Any, Final, Literal

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.terms import (
    AtLeast,
    Decision,
    LimitInForce,
    ProfileIdentity,
    ScatterShare,
    Severity,
    StartWindow,
    WeightShare,
)
from weighworthy_service.json_document import pointer
from weighworthy_service.metrology.limits import CriterionUnit
from weighworthy_service.profiles.limit_forms import Form, to_limit

Correlation = Literal["by-sign", "independent", "worst"]
Requirement = AtLeast | WeightShare | ScatterShare | Severity
Patterns = tuple[str, ...] | None

SELECTORS: Final = ("checks", "sites", "models", "instruments", "methods", "stages")
JUDGED_STAGES: Final = ("as-found", "as-left")

# What lacking a requirement means where a profile gives only the figure: a cold balance spoils
# every reading, while too few readings may still have found a fail.
_OTHERWISE: Final[Mapping[str, Severity]] = MappingProxyType(
    {
        "warm_up": "void",
        "rounds": "no-pass",
        "points": "no-pass",
        "placings": "no-pass",
        "runs": "no-pass",
        "set_points": "no-pass",
        "weights_at_most": "void",
        "scatter_at_most": "no-pass",
    }
)


@dataclass(frozen=True, slots=True)
class Origin:
    """Where a rule stands: the document that wrote it, and the JSON pointer in that document."""

    id: str
    revision: str
    pointer: str

    @property
    def document(self) -> str:
        """`id@revision`."""
        return f"{self.id}@{self.revision}"


@dataclass(frozen=True, slots=True)
class Schedule:
    """How often a check is due. `every` as written, grace in s, `after` occasions."""

    every: str | None = None
    at: str | None = None
    grace: Decimal | None = None
    after: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Step:
    """One rung of the ladder after a failure, and how many times it may be taken."""

    step: str
    times: int = 1


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule: where it applies (None: everywhere) and what it sets there (absent: nothing)."""

    origin: Origin
    checks: Patterns = None
    sites: Patterns = None
    models: Patterns = None
    instruments: Patterns = None
    methods: Patterns = None
    stages: Patterns = None
    limits: Mapping[str, LimitInForce] = field(default_factory=lambda: MappingProxyType({}))
    validity: Mapping[str, Requirement] = field(default_factory=lambda: MappingProxyType({}))
    decision: Decision | None = None
    rounding_unit: CriterionUnit | None = None
    start_window: StartWindow | None = None
    weights_correlation: Correlation | None = None
    schedule: Schedule | None = None
    response: tuple[Step, ...] | None = None
    loosens: str | None = None

    def applies(self, check: str, stage: str | None, circumstances: Circumstances) -> bool:
        """Whether every selector matches; one on a value that is not stated does not."""
        instrument = circumstances.instrument
        return (
            matches(self.checks, check)
            and matches(self.stages, stage)
            and matches(self.sites, instrument.site)
            and matches(self.models, instrument.model)
            and matches(self.instruments, instrument.id)
            and matches(self.methods, circumstances.method)
        )


@dataclass(frozen=True, slots=True)
class Profile:
    """A profile without flaws.

    `document` is what it comes down to as plain JSON: the rules of all it builds on first, the
    metadata its own, no `extends`. It is a whole profile itself, with the same digest. `extends`
    names what it builds on as `id@revision`, the nearest first. A rule at position i in `rules`
    stands at the same position in `document`.
    """

    identity: ProfileIdentity
    title: str | None
    use_on: tuple[str, ...]
    rules: tuple[Rule, ...]
    document: Mapping[str, Any]
    extends: tuple[str, ...] = ()
    effective_from: date | None = None
    effective_to: date | None = None

    @property
    def name(self) -> str:
        """`id@revision`."""
        return f"{self.identity.id}@{self.identity.revision}"


def matches(patterns: Patterns, value: str | None) -> bool:
    """Whether one of the patterns (exact or glob, case-sensitive on every system) fits."""
    if patterns is None:
        return True
    return value is not None and any(fnmatchcase(value, pattern) for pattern in patterns)


def to_profile(
    data: Mapping[str, Any],
    document: Mapping[str, Any],
    digest: str,
    rules: tuple[Rule, ...],
    parent: Profile | None = None,
) -> Profile:
    """The profile that a loaded document without flaws means.

    `rules` are all of it, the parent's first; `document` is its resolved form and `digest` of that.
    """
    use_on = data.get("use_on") or (parent.use_on if parent else ("pass", "conditional-pass"))
    return Profile(
        identity=ProfileIdentity(data["id"], data["revision"], digest),
        title=data.get("title"),
        use_on=use_on,
        rules=rules,
        document=document,
        extends=(parent.name, *parent.extends) if parent else (),
        effective_from=data.get("effective_from"),
        effective_to=data.get("effective_to"),
    )


def to_rules(data: Mapping[str, Any]) -> tuple[Rule, ...]:
    """The rules that a loaded document without flaws states itself."""
    return tuple(
        _rule(form, Origin(data["id"], data["revision"], f"/rules/{position}"))
        for position, form in enumerate(data["rules"])
    )


def _rule(data: Form, origin: Origin) -> Rule:
    limits = {
        name: LimitInForce(
            to_limit(form), f"{origin.document} {origin.pointer}{pointer('limits', name)}"
        )
        for name, form in (data.get("limits") or {}).items()
    }
    validity = {
        name: _requirement(name, value)
        for name, value in (data.get("validity") or {}).items()
        if value is not None
    }
    window, decision = data.get("start_window"), data.get("decision")
    rounding_to = decision.get("rounding_to") if decision else None
    return Rule(
        origin=origin,
        **{name: data.get(name) for name in SELECTORS},
        limits=MappingProxyType(limits),
        validity=MappingProxyType(validity),
        decision=None if decision is None else _decision(decision),
        rounding_unit=rounding_to.base_unit if rounding_to else None,
        start_window=_window(window) if window else None,
        weights_correlation=data.get("weights_correlation"),
        schedule=Schedule(**_stated(schedule)) if (schedule := data.get("schedule")) else None,
        response=tuple(Step(**_stated(step)) for step in data.get("response") or ()) or None,
        loosens=data.get("loosens"),
    )


def _requirement(name: str, value: Any) -> Requirement:
    if isinstance(value, str):
        severity: Severity = value  # type: ignore[assignment]  # the form takes nothing else
        return severity
    otherwise = value.get("otherwise") or _OTHERWISE[name]
    if name == "weights_at_most":
        numerator, denominator = value["share"]
        return WeightShare(numerator, denominator, otherwise)
    if name == "scatter_at_most":
        floor = value.get("floor")
        return ScatterShare(
            value["share"],
            Decimal(0) if floor is None else floor.number,
            value.get("observations") or 2,
            otherwise,
        )
    return AtLeast(Decimal(value["at_least"]), otherwise)


def _decision(form: Form) -> Decision:
    stated = _stated(form)
    if "rounding_to" in stated:
        stated["rounding_to"] = stated["rounding_to"].base
    return Decision(**stated)


def _stated(form: Form) -> dict[str, Any]:
    return {key: value for key, value in form.items() if value is not None}


def _window(form: Form) -> StartWindow:
    return StartWindow(form["target"], form["allowance"], form.get("otherwise") or "void")
