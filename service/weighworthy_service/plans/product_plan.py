"""Tolerances from what a product needs: the answer."""

from collections.abc import Iterator
from decimal import Decimal
from typing import Any, Final

from marshmallow import ValidationError

from weighworthy_service.checks.answer import budget_row, number
from weighworthy_service.checks.flaws import Flaw, SenseError
from weighworthy_service.metrology.rounding import rounded_up
from weighworthy_service.plans.asking import assumed_of
from weighworthy_service.plans.product_found import (
    ProductAsked,
    ProductFound,
    find,
    sample_needed,
    smallest_allowed,
)
from weighworthy_service.plans.product_limits import Part
from weighworthy_service.plans.product_loads import as_json
from weighworthy_service.plans.product_profile import Wanted, profile_document, profile_toml
from weighworthy_service.plans.product_words import cannot_see, reasons, sources
from weighworthy_service.plans.result import at_mass
from weighworthy_service.plans.words import Assumed, exact, frame
from weighworthy_service.plans.worst_case import worst_error
from weighworthy_service.profiles.errors import ProfileNotUsable
from weighworthy_service.profiles.reading import read_profile

_TOLD: Final = 3


def product_plan(asked: ProductAsked, version: str) -> dict[str, Any]:
    """The answer. Raises: SenseError, as `find`."""
    found = find(asked)
    because = list(reasons(asked, found))
    document = None if found.limits is None else _document(asked, found)
    needed = None if found.limits is not None else sample_needed(asked, found)
    smallest = smallest_allowed(asked, found)
    return frame(
        "product",
        version,
        _assumed(asked),
        typical=number(asked.typical.loss),
        basis=asked.typical.basis,
        sample_mass=number(asked.sample_mass),
        room=number(asked.room),
        allowed=number(asked.allowed),
        own_uncertainty=_own(asked, found),
        attainable=found.limits is not None,
        smallest_allowed=None if smallest is None else number(rounded_up(smallest, _TOLD)),
        sample_mass_needed=None if needed is None else number(rounded_up(needed, _TOLD)),
        loads=as_json(found.loads),
        limits=list(_limits(asked, found)),
        worst_error=None if found.limits is None else number(found.limits.worst),
        worst_with_own_uncertainty=None
        if found.limits is None
        else number(found.limits.worst + found.own),
        simulated_loss_guarantees=found.loss_guarantees,
        profile=document,
        profile_toml=None if document is None else profile_toml(document, because),
        cannot_see=cannot_see(asked, found),
        because=because,
    )


def _own(asked: ProductAsked, found: ProductFound) -> dict[str, Any]:
    return {
        "expanded_uncertainty": number(found.own),
        "coverage_factor": number(found.uncertainty.coverage_factor),
        "budget": [
            budget_row(row) for row in at_mass(found.uncertainty.rows, float(asked.sample_mass))
        ],
    }


def _limits(asked: ProductAsked, found: ProductFound) -> Iterator[dict[str, Any]]:
    cold, limits = found.cold, found.limits
    rows: tuple[tuple[Part, Decimal | None, str | None], ...] = (
        (cold.span, None if limits is None else limits.span, "gain"),
        (cold.zero, None if limits is None else limits.zero, "zero"),
        (cold.points, None if limits is None else limits.points, "points"),
        (found.loss, None if limits is None else found.loss_within, None),
    )
    for part, within, name in rows:
        of = part.of
        costs = None
        if limits is not None and name is not None:
            costs = worst_error(asked.sample, limits.left_open.alone(name))
        yield {
            "check": of.kind.slug,
            "criterion": of.name.name,
            "unit": of.name.unit,
            "within": number(within),
            "tightest": number(part.tightest.within),
            "limited_by": part.tightest.limited_by,
            "expanded_uncertainty": number(of.expanded),
            "slip": number(part.slip),
            "costs": number(costs),
        }


def _document(asked: ProductAsked, found: ProductFound) -> dict[str, Any]:
    limits, cold = found.limits, found.cold
    assert limits is not None  # noqa: S101  asked before
    decision = asked.terms.decision
    told = {"rule": decision.rule, "coverage": exact(decision.coverage, "%")}
    if decision.rule != "simple":
        told["guard_factor"] = f"{decision.guard_factor:f}"
    here = asked.circumstances
    document = profile_document(
        Wanted(
            asked.profile_id,
            asked.revision,
            asked.title,
            here.instrument.id,
            here.method,
            told,
            asked.honest.weights,
            len(found.loads.points),
            {
                cold.span.of.name.name: exact(limits.span, "g"),
                cold.zero.of.name.name: exact(limits.zero, "g"),
                cold.points.of.name.name: exact(limits.points, "g"),
                found.loss.of.name.name: exact(found.loss_within, "%"),
            },
            sources(found),
            {
                "target": exact(asked.window.target, "g"),
                "allowance": exact(asked.window.allowance, "g"),
            },
        )
    )
    _refuse_unwritable(document)
    return document


def _refuse_unwritable(document: dict[str, Any]) -> None:
    """A profile has nine decimals, which only figures of no balance exceed."""
    try:
        read_profile(document)
    except (ValidationError, ProfileNotUsable):
        said = "limits for this balance have more digits than a profile can write"
        raise SenseError([Flaw(("instrument", "scale_interval"), "out-of-range", said)]) from None


def _assumed(asked: ProductAsked) -> Iterator[Assumed]:
    yield from assumed_of(asked.circumstances.instrument, hot=asked.typical.heating)
    decision = asked.terms.decision
    taken = {
        "basis": ("wet", "a moisture is usually told as a share of the initial mass"),
        "heating": ("true", "a moisture result comes from a heated run"),
        "decision": (
            f"{decision.rule}, r = {decision.guard_factor}, {decision.coverage} %",
            "a guarantee asks for a guard band: without one, a balance beyond the limit may pass",
        ),
        "ratio": ("3", "from here on simple acceptance seldom errs (JCGM 106, 8)"),
        "false_rejection": ("1 %", "a check that good balances fail more often is not believed"),
        "weights_share": ("1/3", "as of USP <41> (secondary text) and OIML R 76-1 (from memory)"),
        "start_window": (
            f"{exact(asked.window.target, 'g')} ± {exact(asked.window.allowance, 'g')}",
            "a fifth of the sample to either side",
        ),
        "id": (asked.profile_id, "a name for the profile"),
        "revision": (asked.revision, "nobody has approved it"),
    }
    for field, (value, because) in taken.items():
        if field not in asked.stated:
            yield Assumed(f"/{field}", value, because)
