"""From value, uncertainty and limits to the verdict, and the figures that stand beside it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction

from weighworthy_service.checks.explaining.budget import Input, Reckoned, reckon
from weighworthy_service.checks.explaining.formula import Figure, Formula
from weighworthy_service.checks.explaining.functions import (
    ascending,
    both,
    choice,
    probability,
    smallest,
    to_multiple,
)
from weighworthy_service.checks.explaining.inputs import Inputs, setting
from weighworthy_service.checks.explaining.limits import Ground, Sides, sides_of
from weighworthy_service.checks.explaining.reasons import Reasons
from weighworthy_service.checks.terms import Decision, Terms
from weighworthy_service.metrology.limits import CriterionUnit

_RULES = {
    "simple": "simple acceptance: JCGM 106:2012, 8.2",
    "guarded": "guarded acceptance: JCGM 106:2012, 8.3.2",
    "four-way": "ILAC-G8:09/2019, 4.2.3",
}
_PROBABILITY = "JCGM 106:2012, 7; Student's t about the value, flat prior"


@dataclass(frozen=True, slots=True)
class Places:
    """Where the answer shows a judged value, as JSON pointers, each field by its name.

    `criterion`: as a criterion; None: it is none. `others`: objects that show some of its fields.
    """

    criterion: str | None = None
    others: Sequence[tuple[str, Sequence[str]]] = field(default_factory=tuple)

    def of(self, name: str) -> list[str]:
        """Where that field stands."""
        found = [] if self.criterion is None else [f"{self.criterion}/{name}"]
        return [*found, *(f"{place}/{name}" for place, names in self.others if name in names)]


@dataclass(frozen=True, slots=True)
class Limited:
    """What a value is held against, as far as it is: limits, guard band, acceptance limits."""

    lower: Figure | None
    upper: Figure | None
    sides: Sides
    guard: Figure | None = None

    @property
    def limits(self) -> tuple[Figure | None, Figure | None]:
        """Both."""
        return self.lower, self.upper


@dataclass(frozen=True, slots=True)
class Case:
    """A value to be judged: what of, its figure, the budget, what limits of it may refer to.

    `judged`: whether the engine held it against anything. `key` and `place` are those of findings
    about it; `weights` its sensitivities to them, by name.
    """

    name: str
    what: str
    value: Figure
    rows: Sequence[Input]
    unit: CriterionUnit
    judged: bool
    load: Figure | None = None
    nominal: Decimal | None = None
    key: str = ""
    place: str | None = None
    weights: Mapping[str, Formula] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Explained:
    """What came of a case; limits and verdict only of one that is judged."""

    found: Reckoned
    limited: Limited | None = None
    verdict: Figure | None = None


def explain_case(
    inputs: Inputs, case: Case, terms: Terms, places: Places, reasons: Reasons
) -> Explained:
    """The budget, what it comes to, and the verdict."""
    sheet, decision = inputs.sheet, terms.decision
    shown = places.of("expanded_uncertainty")
    found = reckon(sheet, case.rows, case.unit, decision, places.criterion, *shown)
    limited = _limited(inputs, case, terms, places, found) if case.judged else None
    reasons.of_a_case(
        found,
        None if limited is None else limited.limits,
        guard=None if limited is None else limited.guard,
        value=case.value,
        weights=case.weights,
        terms=terms,
        key=case.key,
        field=case.place,
    )
    if limited is None:
        return Explained(found)
    verdict = _verdict(inputs, case, decision, limited, places)
    _beside(inputs, case, limited, found, places)
    return Explained(found, limited, verdict)


def _limited(inputs: Inputs, case: Case, terms: Terms, places: Places, found: Reckoned) -> Limited:
    sheet, decision = inputs.sheet, terms.decision
    ground = Ground(inputs, case.load, case.nominal, case.unit)
    sides = sides_of(terms.limits[case.name], ground)

    def limit(name: str, of: Formula | None) -> Figure | None:
        if of is None:
            return None
        what = f"{name} limit of {case.name.replace('_', ' ')}"
        return sheet.step(what, name, of, case.unit, gives=places.of(f"{name}_limit"))

    lower, upper = limit("lower", sides.lower), limit("upper", sides.upper)
    guard = None
    if decision.rule != "simple":
        factor = setting("r", decision.guard_factor, "decision.guard_factor")
        guard = sheet.step("guard band", "w", factor * found.expanded, case.unit)
    return Limited(lower, upper, sides, guard)


def _verdict(
    inputs: Inputs, case: Case, decision: Decision, limited: Limited, places: Places
) -> Figure:
    sheet, value = inputs.sheet, case.value
    if limited.guard is None:
        if decision.rounding == "rounding":
            condition = _rounded(value, decision, limited)
        else:
            condition = _within(value, *limited.limits)
        said = choice(condition, "pass", "fail")
    else:
        accepted = _moved(inputs, limited, case.unit, "acceptance limit", inward=True)
        said = choice(_within(value, *accepted), "pass", "fail")
        if decision.rule == "four-way":
            beyond = _moved(inputs, limited, case.unit, "limit with guard band", inward=False)
            worse = choice(_within(value, *beyond), "conditional-fail", "fail")
            middle = choice(_within(value, *limited.limits), "conditional-pass", worse)
            said = choice(_within(value, *accepted), "pass", middle)
    what, source = f"verdict on {case.what}", _RULES[decision.rule]
    return sheet.step(what, "verdict", said, gives=places.of("verdict"), source=source)


def _moved(
    inputs: Inputs, limited: Limited, unit: str, what: str, *, inward: bool
) -> tuple[Figure | None, Figure | None]:
    """Both limits, moved by the guard band."""
    guard = limited.guard
    assert guard is not None  # noqa: S101  only asked where there is one
    moved: list[Figure | None] = []
    for name, side, up in (("lower", limited.lower, inward), ("upper", limited.upper, not inward)):
        if side is None:
            moved.append(None)
            continue
        of = side + guard if up else side - guard
        moved.append(
            inputs.sheet.step(f"{name} {what}", f"{name}_{'in' if inward else 'out'}", of, unit)
        )
    return moved[0], moved[1]


def _within(value: Formula, lower: Formula | None, upper: Formula | None) -> Formula:
    return ascending(*(part for part in (lower, value, upper) if part is not None))


def _rounded(value: Formula, decision: Decision, limited: Limited) -> Formula:
    """Each side by itself, the value rounded to its place."""
    stated_place = None
    if decision.rounding_to is not None:
        stated_place = setting("place", decision.rounding_to, "decision.rounding_to")
    conditions = []
    for side, place, is_lower in (
        (limited.lower, limited.sides.lower_place, True),
        (limited.upper, limited.sides.upper_place, False),
    ):
        if side is None:
            continue
        to = stated_place or place
        seen = value if to is None else to_multiple(value, to)
        conditions.append(ascending(side, seen) if is_lower else ascending(seen, side))
    return conditions[0] if len(conditions) == 1 else both(*conditions)


def _beside(inputs: Inputs, case: Case, limited: Limited, found: Reckoned, places: Places) -> None:
    sheet, y, (lower, upper) = inputs.sheet, case.value, limited.limits
    rooms = [] if lower is None else [y - lower]
    if upper is not None:
        rooms.append(upper - y)
    what = f"distance of {case.what} to the nearer limit"
    sheet.step(what, "distance", smallest(*rooms), case.unit, gives=places.of("distance"))
    if lower is not None and upper is not None and upper.value != lower.value:
        margin = smallest(*rooms) / ((upper - lower) / 2)
        sheet.step(f"margin of {case.what}", "margin", margin, "1", gives=places.of("margin"))
        ratio = (upper - lower) / (2 * found.expanded)
        gives = places.of("tolerance_to_uncertainty")
        sheet.step("tolerance to uncertainty", "ratio", ratio, "1", gives=gives)
    if places.of("conformance_probability"):
        what = f"conformance probability of {case.what}"
        gives = places.of("conformance_probability")
        of = _conformance(rooms, found)
        sheet.step(what, "P", of, "1", gives=gives, source=_PROBABILITY)


def _conformance(rooms: Sequence[Formula], found: Reckoned) -> Formula:
    """Of small probabilities: body inside, tails outside, so that they keep their digits."""
    ordered = sorted(rooms, key=lambda room: Fraction(room.number))
    nearer, *farther = ordered
    if nearer.number < 0:
        body = probability(nearer / found.standard, found.degrees)
        for room in farther:
            body = body - probability(-room / found.standard, found.degrees)
        return body
    tails = probability(-nearer / found.standard, found.degrees)
    for room in farther:
        tails = tails + probability(-room / found.standard, found.degrees)
    return 1 - tails
