"""The decision of a rule: what contradicts itself, or the limits that it is to decide."""

from collections.abc import Iterator, Mapping, Sequence

from weighworthy_service.checks.flaws import Flaw
from weighworthy_service.checks.outcome import CriterionName
from weighworthy_service.metrology.limits import Amount, Limit
from weighworthy_service.profiles.limit_forms import Form, Path, has_own_place, to_limit


def decision_flaws(
    rule: Form, covered: Mapping[str, Sequence[CriterionName]], path: Path
) -> Iterator[Flaw]:
    """What contradicts within the decision of a rule, or between it and the limits beside it."""
    decision = rule.get("decision")
    if decision is None:
        return
    kind = decision.get("rule") or "simple"
    if kind == "simple" and decision.get("guard_factor") is not None:
        yield Flaw(
            (*path, "guard_factor"), "contradiction", "the simple rule has no guard band: leave out"
        )
    coverage = decision.get("coverage")
    if coverage is not None and not 50 <= coverage < 100:
        yield Flaw((*path, "coverage"), "out-of-range", "at least 50 %, and below 100 %")
    rounding_to = decision.get("rounding_to")
    if rounding_to is not None and not _is_place(rounding_to):
        yield Flaw((*path, "rounding_to"), "out-of-range", 'a step in a mass or in "%", above zero')
        return
    if decision.get("rounding") != "rounding":
        if rounding_to is not None:
            yield Flaw(
                (*path, "rounding_to"),
                "contradiction",
                'only the method rounding = "rounding" rounds before it compares',
            )
        return
    if kind != "simple":
        yield Flaw(
            (*path, "rounding"), "contradiction", f"the {kind} rule compares the value as it is"
        )
    unit = None if rounding_to is None else rounding_to.base_unit
    limited = {
        criterion: to_limit(form)
        for criterion in {c for names in covered.values() for c in names}
        if (form := (rule.get("limits") or {}).get(criterion.name)) is not None
    }
    yield from rounding_flaws(limited, unit, (*path, "rounding_to"))


def rounding_flaws(
    limits: Mapping[CriterionName, Limit], unit: str | None, path: Path
) -> Iterator[Flaw]:
    """What keeps values from being rounded for these limits; `unit` of `rounding_to`, if given."""
    for criterion, limit in sorted(limits.items(), key=lambda item: item[0].name):
        if unit is not None and unit != criterion.unit:
            yield Flaw(
                path,
                "unit-not-for-criterion",
                f"{criterion.name} is in {criterion.unit} and cannot be rounded in {unit}: "
                "decide it in a rule of its own",
            )
        elif unit is None and not has_own_place(limit):
            yield Flaw(
                path,
                "required",
                f"the limit of {criterion.name} has no last written digit to round to",
            )


def _is_place(amount: Amount) -> bool:
    return amount.dimension != "relative" and amount.number > 0
