"""The one answer type of all kinds of check: criteria, findings, and what follows from them."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Any, Final, Literal, NamedTuple, Protocol

from weighworthy_service.checks.terms import Severity
from weighworthy_service.metrology.budget import BudgetRow
from weighworthy_service.metrology.limits import CriterionUnit

Verdict = Literal["pass", "conditional-pass", "conditional-fail", "fail", "void"]
VERDICTS: Final[tuple[Verdict, ...]] = (
    "pass",
    "conditional-pass",
    "conditional-fail",
    "fail",
    "void",
)


@dataclass(frozen=True, slots=True)
class CriterionName:
    """What a kind may judge: the name and the unit of its value.

    `has_load`: it is the error of one load, which "% of load" refers to. `on_pan`: it belongs to
    something on the pan at all, so that bands by load can choose its limit. `on_grid`: it is a sum
    or difference of whole readings, less a mass, so that its values have the steps of the display.
    `magnitude`: it is the magnitude of a difference, and its upper limit bounds both directions.
    """

    name: str
    unit: CriterionUnit
    has_load: bool = False
    on_pan: bool = True
    on_grid: bool = False
    magnitude: bool = False


@dataclass(frozen=True, slots=True)
class Criterion:
    """One judged (or only computed) number in its unit; None does not apply.

    Masses in g, losses in %, differences of temperature in K, times in s.
    `degrees_of_freedom` is inf where every input is known without estimate; `expanded_uncertainty`
    is the stated decimal that decisions use. `key` is unique in an answer: `span_error[0]`; `index`
    is the position in the request of the round or point that the criterion speaks of.
    """

    key: str
    name: str
    unit: CriterionUnit
    index: int | None = None
    stage: str | None = None
    load: Decimal | None = None
    value: Decimal | Fraction | None = None
    lower_limit: Fraction | None = None
    upper_limit: Fraction | None = None
    standard_uncertainty: float | None = None
    expanded_uncertainty: Decimal | None = None
    coverage_factor: float | None = None
    degrees_of_freedom: float | None = None
    conformance_probability: float | None = None
    margin: Fraction | None = None
    distance: Fraction | None = None
    tolerance_to_uncertainty: Fraction | None = None
    decision_rule: str | None = None
    verdict: Verdict | None = None
    limit_source: str | None = None
    budget: tuple[BudgetRow, ...] = ()


class Standing(Protocol):
    """What tells how critical a criterion is."""

    @property
    def verdict(self) -> Verdict | None: ...
    @property
    def value(self) -> Decimal | Fraction | None: ...
    @property
    def margin(self) -> Fraction | None: ...
    @property
    def distance(self) -> Fraction | None: ...


def criticality(criterion: Standing) -> tuple[int, Fraction]:
    """Sorts criteria of one kind: worst verdict first, then smallest margin."""
    if criterion.verdict is None:
        # Unjudged places come last; among themselves the largest magnitude speaks.
        return (1, -abs(Fraction(criterion.value or 0)))
    rank = -VERDICTS.index(criterion.verdict)
    room = criterion.margin if criterion.margin is not None else criterion.distance
    return (rank, room if room is not None else Fraction(0))


class Finding(NamedTuple):
    """Something a reader must know. `field` is a JSON pointer into the request, or None."""

    code: str
    severity: Severity
    message: str
    field: str | None = None


@dataclass(frozen=True, slots=True)
class Evaluation:
    """The whole outcome of one check. Numbers in `results` are Decimal, Fraction, float or int."""

    check: str
    verdict: Verdict | None
    verdict_as_found: Verdict | None
    verdict_as_left: Verdict | None
    verdict_if_valid: Verdict | None
    usable: bool | None
    criteria: tuple[Criterion, ...]
    results: Mapping[str, Any]
    findings: tuple[Finding, ...]


class Ruling(NamedTuple):
    """What many checks have in common that differ in their values, numbers as in their answers.

    `criterion` is the key of the one that decided; unit, limits and uncertainty are its.
    `finding_codes` are in the order of the answer.
    """

    verdict: Verdict | None
    usable: bool | None
    criterion: str
    unit: str
    lower_limit: float | int | None
    upper_limit: float | int | None
    expanded_uncertainty: float | int | None
    finding_codes: tuple[str, ...]


class Brief(NamedTuple):
    """What a row of a table shows of one check: value and margin are of the deciding criterion."""

    ruling: Ruling
    value: float | int | None
    margin: float | int | None
