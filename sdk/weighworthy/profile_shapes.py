"""The shapes of a profile document, for editors and type checkers. At run time plain dicts.

Amounts are text with their unit: ``"1.5 mg"``, ``"2 d"``, ``"0.02 % of load"``, ``"0.05 %"``.
"""

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Literal, Required, TypeAlias, TypedDict

Amount: TypeAlias = str
Severity: TypeAlias = Literal["void", "no-pass", "warning", "note"]


class PlainLimit(TypedDict, total=False):
    """``within`` both ways, or ``lower`` and ``upper`` apart."""

    within: Amount
    lower: Amount
    upper: Amount


class Band(PlainLimit, total=False):
    """A limit, or that there is none, for loads up to and including ``up_to``."""

    smaller_of: Sequence[PlainLimit]
    larger_of: Sequence[PlainLimit]
    no_limit: bool
    up_to: Required[Amount]


class Limit(PlainLimit, total=False):
    """A limit in exactly one form; ``source`` names document and clause."""

    smaller_of: Sequence[PlainLimit]
    larger_of: Sequence[PlainLimit]
    bands: Sequence[Band]
    when_present: bool
    source: str


class Decision(TypedDict, total=False):
    """How a value, its uncertainty and a limit make a verdict."""

    rule: Literal["simple", "guarded", "four-way"]
    guard_factor: str
    coverage: str
    rounding: Literal["absolute", "rounding"]
    rounding_to: Amount


# Written as calls, because "else" is no name that a class body takes.
StartWindow = TypedDict(
    "StartWindow",
    {"target": Required[str], "allowance": Required[str], "else": Severity},
    total=False,
)
WarmUp = TypedDict("WarmUp", {"at_least": Required[str], "else": Severity}, total=False)
Rounds = TypedDict("Rounds", {"at_least": Required[int], "else": Severity}, total=False)
Points = TypedDict("Points", {"at_least": Required[int], "else": Severity}, total=False)
Placings = TypedDict("Placings", {"at_least": Required[int], "else": Severity}, total=False)
Runs = TypedDict("Runs", {"at_least": Required[int], "else": Severity}, total=False)
SetPoints = TypedDict("SetPoints", {"at_least": Required[int], "else": Severity}, total=False)
WeightShare = TypedDict("WeightShare", {"share": Required[str], "else": Severity}, total=False)
ScatterShare = TypedDict(
    "ScatterShare",
    {"share": Required[str], "floor": str, "observations": int, "else": Severity},
    total=False,
)


class Validity(TypedDict, total=False):
    """What a check must fulfil to be valid, and what lacking it means."""

    warm_up: WarmUp
    rounds: Rounds
    points: Points
    placings: Placings
    runs: Runs
    set_points: SetPoints
    weights_in_date: Severity
    weights_in_class: Severity
    stable: Severity
    weights_at_most: str | WeightShare
    scatter_at_most: ScatterShare
    uncertainty_within_tolerance: Severity


class Schedule(TypedDict, total=False):
    """How often a check is due: a calendar period or a time such as ``"24 h"``."""

    every: str
    at: Literal["first-use"]
    grace: str
    after: Sequence[str]


class Step(TypedDict, total=False):
    """One rung of the ladder after a failure."""

    step: Required[Literal["repeat", "adjust", "service", "out-of-service"]]
    times: int


class Rule(TypedDict, total=False):
    """Where a rule applies (exact or glob) and what it sets there."""

    checks: Sequence[str]
    sites: Sequence[str]
    models: Sequence[str]
    instruments: Sequence[str]
    methods: Sequence[str]
    stages: Sequence[str]
    limits: Mapping[str, Limit]
    start_window: StartWindow
    decision: Decision
    validity: Validity
    weights_correlation: Literal["by-sign", "independent", "worst"]
    schedule: Schedule
    response: Sequence[Step]
    loosens: str


class Profile(TypedDict, total=False):
    """A whole profile; ``extends`` names a parent or holds it."""

    id: Required[str]
    revision: Required[str]
    title: str
    description: str
    extends: "str | Profile"
    effective_from: str | date
    effective_to: str | date
    approved_by: str
    use_on: Sequence[str]
    loosens: str
    rules: Required[Sequence[Rule]]
