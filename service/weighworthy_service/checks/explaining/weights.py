"""What the reference weights bring into a budget: their own uncertainty, and buoyancy."""

from collections.abc import Mapping
from decimal import Decimal

from weighworthy_service.checks.explaining.budget import Input
from weighworthy_service.checks.explaining.formula import Formula, formula
from weighworthy_service.checks.explaining.functions import sqrt, total
from weighworthy_service.checks.explaining.inputs import Inputs, of_weight
from weighworthy_service.metrology.buoyancy import REFERENCE_AIR_DENSITY, REFERENCE_WEIGHT_DENSITY
from weighworthy_service.metrology.weights import ReferenceWeight

_CERTIFICATE = "JCGM 100:2008, 4.3.3"
_CLASS = "class limit as a rectangle: JCGM 100:2008, 4.3.7"
_BUOYANCY = "EURAMET cg-18, 7.1.2.2, from memory"

# Net sensitivity of a criterion to each weight, by name, in the order of the budget.
Acting = Mapping[str, Formula]


def weight_inputs(inputs: Inputs, acting: Acting, correlation: str, unit: str) -> list[Input]:
    """The weights, in groups that count as fully correlated."""
    names = [name for name, c in acting.items() if c.number]
    if correlation == "independent":
        groups = [[name] for name in names]
    elif correlation == "worst":
        groups = [names] if names else []
    else:
        groups = _by_sign(acting)
    each = {name: own_uncertainty(inputs, inputs.here.weights[name]) for name in names}
    return [_group("reference weights", group, acting, each, unit=unit) for group in groups]


def buoyancy_inputs(inputs: Inputs, acting: Acting, *, adjusted: bool) -> list[Input]:
    """Buoyancy of the weights. `adjusted`: the balance was, in this sitting."""
    rows = []
    for group in _by_sign(acting):
        each = {
            name: _buoyancy(inputs, inputs.here.weights[name], adjusted=adjusted) for name in group
        }
        rows.append(_group("buoyancy of", group, acting, each, unit="g", basis=_BUOYANCY))
    return rows


def own_uncertainty(inputs: Inputs, weight: ReferenceWeight) -> Formula:
    """u of the mass used, in g: U/k or mpe/√3, and a stated drift/√3 added linearly."""
    if weight.certified:
        factor: Formula = formula(2)
        if weight.coverage_factor is not None:
            factor = of_weight(weight, "k", "coverage_factor")
        u, basis = of_weight(weight, "U", "expanded_uncertainty") / factor, _CERTIFICATE
    else:
        u, basis = inputs.mpe(weight) / sqrt(formula(3)), _CLASS
    if weight.drift is not None:
        u = u + of_weight(weight, "D", "drift") / sqrt(formula(3))
    what = f"standard uncertainty of the mass of {weight.name}"
    return inputs.sheet.step(what, "u_m", u, "g", source=basis)


def _buoyancy(inputs: Inputs, weight: ReferenceWeight, *, adjusted: bool) -> Formula:
    air, iron = formula(REFERENCE_AIR_DENSITY), formula(Decimal(f"{REFERENCE_WEIGHT_DENSITY:.0f}"))
    nominal = inputs.nominal_of(weight)
    if weight.class_limit is not None:
        half = inputs.mpe(weight) / 4
    else:
        density = inputs.density(weight)
        half = nominal * (inputs.air_share() * air * abs(1 / density - 1 / iron))
    if not adjusted:
        half = half + nominal * inputs.air_share() * air / iron
    what = f"buoyancy of {weight.name}, as a standard uncertainty"
    return inputs.sheet.step(what, "u_B", half / sqrt(formula(3)), "g", source=_BUOYANCY)


def _by_sign(acting: Acting) -> list[list[str]]:
    groups = (
        [name for name, c in acting.items() if c.number > 0],
        [name for name, c in acting.items() if c.number < 0],
    )
    return [group for group in groups if group]


def _group(
    what: str,
    names: list[str],
    acting: Acting,
    each: Mapping[str, Formula],
    *,
    unit: str,
    basis: str | None = None,
) -> Input:
    """Fully correlated inputs as one row: |c|·u add linearly; of one sensitivity, u alone."""
    source, first = f"{what} {', '.join(names)}", acting[names[0]]
    if all(acting[name].number == first.number for name in names):
        return Input(source, "g", total([each[name] for name in names]), first, basis=basis)
    u = total([abs(acting[name]) * each[name] for name in names])
    return Input(source, unit, u, formula(1), basis=basis)
