"""The check that a perfect balance would give: for budgets and limits from the code that judges.

Every indication is the mass of the reference weights, in steps of the scale interval.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Any, Literal

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.linearity.check import LinearityCheck, Point
from weighworthy_service.checks.simulated_loss.check import Loading, SimulatedLossCheck
from weighworthy_service.checks.span.check import Round, SpanCheck, Stage
from weighworthy_service.metrology.quantity import EXACT

Load = tuple[str, ...]

_ROUNDS: tuple[Stage, ...] = ("as-found", "as-found", "adjustment", "as-left", "as-left")


@dataclass(frozen=True, slots=True)
class LossLoads:
    """The weights of a simulated loss, by name, at its start and at its end."""

    initial: Load
    final: Load
    basis: Literal["wet", "dry"] = "wet"
    heating: bool | None = None


@dataclass(frozen=True, slots=True)
class Rehearsal:
    """A check that went perfectly; `load` are the weights it is about, as a person would say."""

    check: Any
    load: Load


def rehearsals(
    check_slug: str,
    circumstances: Circumstances,
    loads: Sequence[Load] | LossLoads,
) -> tuple[Rehearsal, ...]:
    """A check for each load, and for a linearity check also one of the whole run.

    Raises:
        SenseError: a load names weights that are not there, or twice, or weights without a value.
    """
    if isinstance(loads, LossLoads):
        return (Rehearsal(simulated_loss(circumstances, loads), loads.initial),)
    if check_slug == "span":
        return tuple(Rehearsal(span(circumstances, load), load) for load in loads)
    each = [Rehearsal(linearity(circumstances, [load]), load) for load in loads]
    if len(loads) < 2:
        return tuple(each)
    return (*each, Rehearsal(linearity(circumstances, loads), ()))


def span(circumstances: Circumstances, load: Load) -> SpanCheck:
    """Two rounds as found, an adjustment, two rounds as left."""
    read = {
        "zero": _shown(Decimal(0), circumstances),
        "indication": _indication(load, circumstances),
        "zero_after": _shown(Decimal(0), circumstances),
    }
    return SpanCheck(
        circumstances,
        tuple(
            Round(stage) if stage == "adjustment" else Round(stage, load, stable=True, **read)
            for stage in _ROUNDS
        ),
    )


def linearity(circumstances: Circumstances, loads: Sequence[Load]) -> LinearityCheck:
    """Up over all loads and, where there are several, down again; a zero before each.

    Of loads with one nominal mass, the first.
    """
    zero = _shown(Decimal(0), circumstances)
    by_nominal = {_nominal(load, circumstances): load for load in reversed(loads)}
    up = [
        Point(load, _indication(load, circumstances), zero, "up", stable=True)
        for _, load in sorted(by_nominal.items())
    ]
    if len(up) < 2:
        return LinearityCheck(circumstances, tuple(up))
    down = [Point(p.load, p.indication, zero, "down", stable=True) for p in reversed(up[:-1])]
    return LinearityCheck(circumstances, (*up, *down))


def simulated_loss(circumstances: Circumstances, loads: LossLoads) -> SimulatedLossCheck:
    """Both indications, none displayed: a balance judged by its masses."""
    initial, final = (
        Loading(load, _indication(load, circumstances), stable=True)
        for load in (loads.initial, loads.final)
    )
    return SimulatedLossCheck(
        circumstances, initial, final, basis=loads.basis, heating=loads.heating
    )


def loads_of(given: Mapping[str, Any]) -> dict[str, Sequence[Load] | LossLoads]:
    """The loads of a request by kind of check, in the form `rehearsals` takes."""
    return {
        slug: LossLoads(**loads) if isinstance(loads, Mapping) else tuple(loads)
        for slug, loads in given.items()
    }


def _nominal(load: Load, circumstances: Circumstances) -> Decimal:
    return circumstances.nominal(_known(load, circumstances))


def _indication(load: Load, circumstances: Circumstances) -> Decimal:
    return _shown(circumstances.mass(_known(load, circumstances)), circumstances)


def _known(load: Load, circumstances: Circumstances) -> Load:
    # A name without a weight is the check's to refuse, which says where it stands.
    return tuple(name for name in load if name in circumstances.weights)


def _shown(mass: Decimal, circumstances: Circumstances) -> Decimal:
    step = circumstances.instrument.scale_interval
    return EXACT.multiply(Decimal(round(Fraction(mass) / Fraction(step))), step)
