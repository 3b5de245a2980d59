"""Which class of weights a check needs, by OIML R 111-1:2004, Table 1."""

from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Final

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.rehearsal import Loads
from weighworthy_service.metrology.weights import weight_classes
from weighworthy_service.plans.asking import LOSS
from weighworthy_service.plans.rehearsed import Rehearsed, rehearsed
from weighworthy_service.plans.tightest import Honest, Tightest, tightest, weights_error, with_class
from weighworthy_service.plans.words import exact

_BODY: Final = "OIML "


@dataclass(frozen=True, slots=True)
class OfClass:
    """The check with weights of a class, and its tightest tolerance; None: none."""

    weight_class: str
    of: Rehearsed
    found: Tightest | None


def by_class(of: Rehearsed, loads: Loads, honest: Honest) -> list[OfClass]:
    """From the finest class to the coarsest; classes without weights of these values left out."""
    names = loads.initial + loads.final if of.kind is LOSS else of.load
    found = []
    for weight_class in (c for c in weight_classes() if c.startswith(_BODY)):
        weights = with_class(of.circumstances.weights, tuple(dict.fromkeys(names)), weight_class)
        if weights is None:
            continue
        here = replace(of.circumstances, weights=weights)
        only: Loads = loads if of.kind is LOSS else (of.load,)
        again = _same(of, here, only)
        found.append(
            OfClass(weight_class, again, tightest(again, honest, weights_error(again, only)))
        )
    return found


def _same(of: Rehearsed, here: Circumstances, loads: Loads) -> Rehearsed:
    """The same criterion with other weights."""
    again = rehearsed(of.kind, here, loads, of.terms)
    return next(one for one in again if one.name is of.name)


def advice(of: Rehearsed, classes: list[OfClass], wanted: Decimal | None) -> tuple[str | None, str]:
    """The coarsest class that will do, and why; None: no class does.

    Will do: it reaches the wanted tolerance; where none is wanted, the one that the finest reaches.
    """
    unit = of.name.unit
    if not classes:
        return None, (
            "Table 1 of R 111-1 has no weights of these nominal values in any class, and none is "
            "interpolated."
        )
    reached = [(one.weight_class, one.found.within) for one in classes if one.found is not None]
    if not reached:
        return None, "No class of weights helps: good balances are rejected too often with any."
    finest_class, finest = reached[0]
    goal = finest if wanted is None else wanted
    enough = [weight_class for weight_class, reach in reached if reach <= goal]
    if not enough:
        row, _ = classes[0].of.largest_part
        return None, (
            f"No class of weights helps: even {finest_class} reaches only {exact(finest, unit)}, "
            f"not {exact(goal, unit)}. What limits it is the balance, above all {row.source}."
        )
    coarsest = enough[-1]
    if wanted is None:
        return coarsest, (
            f"{coarsest} reaches {exact(finest, unit)}, which finer weights do not better: the "
            "balance limits it."
        )
    return coarsest, f"{coarsest} is the coarsest class that reaches {exact(wanted, unit)}."
