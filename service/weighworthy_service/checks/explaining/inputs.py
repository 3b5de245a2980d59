"""Figures that come from outside the sheet: from the request, the profile, class tables, rules."""

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.explaining.formula import Figure, stated
from weighworthy_service.checks.explaining.functions import exp, total
from weighworthy_service.checks.explaining.sheet import Sheet
from weighworthy_service.json_document import pointer
from weighworthy_service.metrology.buoyancy import (
    ASSUMED_WEIGHT_DENSITY,
    REFERENCE_AIR_DENSITY,
    UNMEASURED_AIR_SHARE,
    moist_air,
)
from weighworthy_service.metrology.weights import ReferenceWeight


class Inputs:
    """What the request states of balance, weights and air, in g, %, °C, hPa and kg/m³."""

    def __init__(self, sheet: Sheet, here: Circumstances) -> None:
        self.sheet, self.here = sheet, here

    def instrument(self, symbol: str, *path: str) -> Figure:
        """A value that is stated of the balance."""
        value: Any = self.here.instrument
        for name in path:
            value = getattr(value, name)
        return stated(symbol, value, f"request {pointer('instrument', *path)}")

    def mass(self, load: Sequence[str], *gives: str) -> Figure:
        """Sum of the conventional masses on the pan."""
        masses = [self._mass_of(self.here.weights[name]) for name in load]
        return self._sum(f"mass of {', '.join(load)}", "m", masses, gives)

    def nominal(self, load: Sequence[str], *gives: str) -> Figure:
        """Sum of the nominal masses on the pan: the load that limits refer to."""
        nominals = [self.nominal_of(self.here.weights[name]) for name in load]
        return self._sum(f"nominal load of {', '.join(load)}", "m_N", nominals, gives)

    def nominal_of(self, weight: ReferenceWeight) -> Figure:
        """The nominal mass of one weight."""
        return of_weight(weight, "m_N", "nominal")

    def mpe(self, weight: ReferenceWeight) -> Figure:
        """The maximum permissible error of its class."""
        limit = weight.class_limit
        assert limit is not None  # noqa: S101  only asked of weights that have one
        origin = f"table {weight.weight_class}, {weight.nominal:f} g"
        return stated("mpe", limit, origin)

    def density(self, weight: ReferenceWeight) -> Figure:
        """Its density, or that of steel."""
        if weight.density is not None:
            return of_weight(weight, "rho", "density")
        assumed = Decimal(f"{ASSUMED_WEIGHT_DENSITY:.0f}")
        return stated("rho", assumed, "rule density of a weight that states none")

    def air_share(self) -> Figure:
        """How far the density of air may be from 1.2 kg/m³, as a share."""
        air = self.here.environment
        if air.temperature is None or air.relative_humidity is None or air.pressure is None:
            share = Decimal(repr(UNMEASURED_AIR_SHARE))
            return stated("a", share, "rule share by which unmeasured air may be off")
        density = moist_air(
            stated("t", air.temperature, "request /environment/temperature"),
            stated("P", air.pressure, "request /environment/pressure") * 100,
            stated("h", air.relative_humidity, "request /environment/relative_humidity") / 100,
            self._note_of_air,
            exp,
        )
        what = "share by which the air differs from 1.2 kg/m³"
        return self.sheet.step(
            what, "a", abs(density - REFERENCE_AIR_DENSITY) / REFERENCE_AIR_DENSITY, "1"
        )

    def _note_of_air(self, what: str, symbol: str, unit: str, of: Any) -> Figure:
        return self.sheet.step(what, symbol, of, unit, source="CIPM-2007")

    def _mass_of(self, weight: ReferenceWeight) -> Figure:
        return of_weight(weight, "m", "conventional_mass" if weight.certified else "nominal")

    def _sum(self, what: str, symbol: str, parts: list[Figure], gives: Sequence[str]) -> Figure:
        return self.sheet.step(what, symbol, total([*parts]), "g", gives=gives)


def of_weight(weight: ReferenceWeight, symbol: str, field: str) -> Figure:
    """What the request states of a weight."""
    return stated(
        symbol, getattr(weight, field), f"request {pointer('weights', weight.name, field)}"
    )


def reading(symbol: str, value: Decimal, *path: str | int) -> Figure:
    """A reading, where the request states it."""
    return stated(symbol, value, f"request {pointer(*path)}")


def setting(symbol: str, value: Decimal, name: str) -> Figure:
    """A setting of the profile in force, or its default."""
    return stated(symbol, value, f"setting {name}")
