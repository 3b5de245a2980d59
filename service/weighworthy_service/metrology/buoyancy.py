"""Air density and what it means for a weighing. Densities in kg/m³.

Air density: CIPM-2007, Picard et al., Metrologia 45 (2008) 149-155, with x(CO2) = 400 µmol/mol.
Conventional mass: OIML D 28 (8000 kg/m³, 1.2 kg/m³, 20 °C).
"""

from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property
from math import exp
from typing import Any, Final

REFERENCE_AIR_DENSITY: Final = 1.2
REFERENCE_WEIGHT_DENSITY: Final = 8000.0
# Stainless steel, OIML R 111-1, Table B.7 (from memory).
ASSUMED_WEIGHT_DENSITY: Final = 7950.0
# Air density stays within this share of 1.2 kg/m³ where nobody measured it (EURAMET cg-18, 7.1.2).
UNMEASURED_AIR_SHARE: Final = 0.1

_ZERO_CELSIUS: Final = 273.15


@dataclass(frozen=True)
class Environment:
    """Air at the balance: temperature in °C, relative humidity in %, pressure in hPa."""

    temperature: Decimal | None = None
    relative_humidity: Decimal | None = None
    pressure: Decimal | None = None

    def air_density_share(self) -> float:
        """|ρa - 1.2|/1.2 of the measured air, or 0.1 unless all three values are stated."""
        return self._share

    @cached_property
    def _share(self) -> float:
        if None in (self.temperature, self.relative_humidity, self.pressure):
            return UNMEASURED_AIR_SHARE
        density = air_density(
            float(self.temperature or 0),
            float(self.pressure or 0) * 100,
            float(self.relative_humidity or 0) / 100,
        )
        return abs(density - REFERENCE_AIR_DENSITY) / REFERENCE_AIR_DENSITY


def air_density(temperature: float, pressure: float, humidity: float) -> float:
    """Density of moist air in kg/m³, CIPM-2007.

    Args:
        temperature: in °C, 15 to 27 by the paper's range.
        pressure: in Pa, 60 000 to 110 000.
        humidity: relative, 0 to 1.
    """
    return float(moist_air(temperature, pressure, humidity, _unnoted, exp))


def _unnoted(what: str, symbol: str, unit: str, value: float) -> float:
    return value


def moist_air(
    t: Any,
    p: Any,
    humidity: Any,
    note: Callable[[str, str, str, Any], Any],
    exp: Callable[[Any], Any],
) -> Any:
    """The same for numbers of any sort; `note` is shown each quantity on the way and gives it back.

    It gets what it is, its symbol, its unit (of UCUM) and its value.
    """
    kelvin = note("temperature", "T", "K", t + _ZERO_CELSIUS)
    saturation = exp(
        1.2378847e-5 * kelvin**2 - 1.9121316e-2 * kelvin + 33.93711047 - 6.3431645e3 / kelvin
    )
    saturation = note("saturation vapour pressure", "p_sv", "Pa", saturation)
    enhancement = note("enhancement factor", "f", "1", 1.00062 + 3.14e-8 * p + 5.6e-7 * t**2)
    vapour = note(
        "mole fraction of water vapour", "x_v", "1", humidity * enhancement * saturation / p
    )
    compressibility = (
        1
        - (p / kelvin)
        * (
            1.58123e-6
            - 2.9331e-8 * t
            + 1.1043e-10 * t**2
            + (5.707e-6 - 2.051e-8 * t) * vapour
            + (1.9898e-4 - 2.376e-6 * t) * vapour**2
        )
        + (p / kelvin) ** 2 * (1.83e-11 - 0.765e-8 * vapour**2)
    )
    compressibility = note("compressibility factor", "Z", "1", compressibility)
    density = 3.483740e-3 * p / (compressibility * kelvin) * (1 - 0.3780 * vapour)
    return note("density of air", "rho_a", "kg/m3", density)


def unclassed_half_width(density: float, air_share: float) -> float:
    """Relative half-width of the buoyancy error of a weight whose class does not bound its density.

    R 111-1, 10.1 bounds the density of classed weights so that a 10 % change of air density costs
    at most a quarter of the mpe; without a class the density itself must speak.
    """
    return air_share * REFERENCE_AIR_DENSITY * abs(1 / density - 1 / REFERENCE_WEIGHT_DENSITY)
