"""The terms under which one check is judged: what a profile comes down to for one request."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from types import MappingProxyType
from typing import Final, Literal

from weighworthy_service.metrology.limits import Limit

Severity = Literal["void", "no-pass", "warning", "note"]
SEVERITIES: Final[tuple[Severity, ...]] = ("void", "no-pass", "warning", "note")


@dataclass(frozen=True, slots=True)
class LimitInForce:
    """A limit and the place that set it: `id@revision` of a document, a JSON pointer in it."""

    limit: Limit
    place: str


@dataclass(frozen=True, slots=True)
class Decision:
    """Decision rule; coverage in %, `rounding_to` in the criterion's unit (g or %)."""

    rule: Literal["simple", "guarded", "four-way"] = "simple"
    guard_factor: Decimal = Decimal(1)
    coverage: Decimal = Decimal("95.45")
    rounding: Literal["absolute", "rounding"] = "absolute"
    rounding_to: Decimal | None = None


@dataclass(frozen=True, slots=True)
class AtLeast:
    """A required amount (s for warm-up, otherwise a count), and what lacking it means."""

    at_least: Decimal
    otherwise: Severity


@dataclass(frozen=True, slots=True)
class WeightShare:
    """Largest share of a limit that the weights' own error may take, and what more means."""

    numerator: int
    denominator: int
    otherwise: Severity


@dataclass(frozen=True, slots=True)
class ScatterShare:
    """Twice the stated repeatability, not below `floor` scale intervals, as a share of the load.

    `share` in %; `observations` is the fewest the repeatability must rest on.
    """

    share: Decimal
    floor: Decimal
    observations: int
    otherwise: Severity


@dataclass(frozen=True, slots=True)
class StartWindow:
    """Where the initial load must lie: target ± allowance in g, ends included."""

    target: Decimal
    allowance: Decimal
    otherwise: Severity = "void"


# Of which readings a profile may ask for a number.
COUNTS: Final = ("rounds", "points", "placings", "runs", "set_points")


@dataclass(frozen=True, slots=True)
class Validity:
    """What makes a check validly done. None: not required beyond what the request itself says."""

    warm_up: AtLeast | None = None
    rounds: AtLeast | None = None
    points: AtLeast | None = None
    placings: AtLeast | None = None
    runs: AtLeast | None = None
    set_points: AtLeast | None = None
    weights_in_date: Severity | None = None
    weights_in_class: Severity | None = None
    stable: Severity | None = None
    weights_at_most: WeightShare | None = None
    scatter_at_most: ScatterShare | None = None
    uncertainty_within_tolerance: Severity | None = None


@dataclass(frozen=True, slots=True)
class ProfileIdentity:
    """Which profile, by name, revision and content."""

    id: str
    revision: str
    digest: str


@dataclass(frozen=True, slots=True)
class Terms:
    """Everything that decides a verdict besides readings and weights.

    `stages` overrides the whole for single stages of a span check.
    """

    profile: ProfileIdentity
    limits: Mapping[str, LimitInForce] = field(default_factory=lambda: MappingProxyType({}))
    decision: Decision = Decision()
    validity: Validity = Validity()
    start_window: StartWindow | None = None
    weights_correlation: Literal["by-sign", "independent", "worst"] = "by-sign"
    use_on: tuple[str, ...] = ("pass", "conditional-pass")
    stages: Mapping[str, "Terms"] = field(default_factory=lambda: MappingProxyType({}))

    def lets_use(self, verdict: str | None) -> bool | None:
        """Whether the balance may be used on a verdict; None without one."""
        return None if verdict is None else verdict in self.use_on

    def at(self, stage: str | None) -> "Terms":
        """The terms for one stage."""
        return self.stages.get(stage, self) if stage is not None else self
