"""Reference weights: the mass they stand for and how well it is known.

Class limits: OIML R 111-1:2004, Table 1, and ASTM E617, Table 1 (see the data files for how far
each was confirmed). Certificate values: JCGM 100:2008, 4.3.3. Masses in g, densities in kg/m³.
"""

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction
from functools import cache, cached_property
from importlib.resources import files
from math import sqrt
from typing import Any, Final, Literal

from weighworthy_service.metrology.quantity import EXACT, read_quantity

_TABLES: Final = {"OIML": "oiml_r111_1.json", "ASTM": "astm_e617.json"}

# More than this between nominal and conventional mass is another weight or a wrong unit.
_PLAUSIBLE: Final = Decimal("0.1")


@cache
def class_limits() -> dict[tuple[str, Decimal], Decimal]:
    """(class, nominal mass in g) -> maximum permissible error in g, of all classes known."""
    limits: dict[tuple[str, Decimal], Decimal] = {}
    for body, name in _TABLES.items():
        text = files("weighworthy_service.metrology").joinpath("tables", name).read_text("utf-8")
        table = json.loads(text)
        for nominal, row in table["rows"].items():
            for weight_class, mpe in row.items():
                key = (f"{body} {weight_class}", read_quantity(nominal, "mass"))
                limits[key] = read_quantity(f"{mpe} {table['unit']}", "mass")
    return limits


@cache
def weight_classes() -> tuple[str, ...]:
    """The class designations a request may use, like "OIML F1" and "ASTM 1"."""
    return tuple(dict.fromkeys(weight_class for weight_class, _ in class_limits()))


@dataclass(frozen=True)
class ReferenceWeight:
    """One weight of the laboratory, by its own name, class and certificate.

    What follows from it is kept: it is asked for with every reading of the weight.
    """

    name: str
    nominal: Decimal
    weight_class: str | None = None
    conventional_mass: Decimal | None = None
    expanded_uncertainty: Decimal | None = None
    coverage_factor: Decimal | None = None
    density: Decimal | None = None
    drift: Decimal | None = None
    certificate: str | None = None
    calibrated_on: date | None = None
    due_on: date | None = None

    @property
    def certified(self) -> bool:
        """Used at its certificate value (otherwise at nominal value with the class limit)."""
        return self.conventional_mass is not None

    @property
    def mass(self) -> Decimal:
        """Conventional mass used in the evaluation, in g."""
        return self.nominal if self.conventional_mass is None else self.conventional_mass

    @cached_property
    def class_limit(self) -> Decimal | None:
        """Maximum permissible error in g; None without a class."""
        if self.weight_class is None:
            return None
        return class_limits().get((self.weight_class, self.nominal))

    @property
    def distribution(self) -> Literal["normal", "rectangular"]:
        """What is assumed of the deviation from the mass used."""
        return "normal" if self.certified else "rectangular"

    @cached_property
    def certified_expanded_uncertainty(self) -> Fraction:
        """The certificate's uncertainty brought to k = 2, in g, as R 111-1, 5.2 states limits."""
        assert self.expanded_uncertainty is not None  # noqa: S101  only asked of certified weights
        return 2 * Fraction(self.expanded_uncertainty) / Fraction(self.coverage_factor or 2)

    @cached_property
    def allowance(self) -> Fraction:
        """What the weight may be off by, in g: U (k = 2) of a certificate, otherwise the mpe."""
        if self.certified:
            return self.certified_expanded_uncertainty
        return Fraction(self.class_limit or 0)

    @cached_property
    def standard_uncertainty(self) -> float:
        """u of the mass used, in g: U/k or mpe/√3, and a stated drift/√3 added linearly."""
        if self.certified:
            own = float(self.certified_expanded_uncertainty) / 2
        else:
            own = float(self.class_limit or 0) / sqrt(3)
        return own + (float(self.drift) / sqrt(3) if self.drift is not None else 0.0)

    def flaws(self) -> Iterator[tuple[str, str, str]]:
        """(field, code, sentence) of everything that keeps the weight from being used."""
        if (self.conventional_mass is None) != (self.expanded_uncertainty is None):
            missing = (
                "expanded_uncertainty" if self.expanded_uncertainty is None else "conventional_mass"
            )
            yield missing, "certificate-incomplete", f"a certificate value needs {missing} too"
        elif self.conventional_mass is None and self.weight_class is None:
            yield (
                "weight_class",
                "weight-without-value",
                "state weight_class, or conventional_mass with expanded_uncertainty",
            )
        if self.weight_class is not None and self.class_limit is None:
            yield (
                "nominal",
                "no-class-limit",
                f"{self.weight_class} has no limit for {self.nominal} g, and none is interpolated",
            )
        stated = self.expanded_uncertainty
        if stated is not None and stated > EXACT.multiply(self.nominal, _PLAUSIBLE):
            yield (
                "expanded_uncertainty",
                "uncertainty-implausible",
                "more than 10 % of the nominal mass: probably a wrong unit",
            )
        if self.due_on and self.calibrated_on and self.due_on < self.calibrated_on:
            yield "due_on", "date-order", "due before it was calibrated"
        if self.conventional_mass is not None:
            off = EXACT.subtract(self.conventional_mass, self.nominal)
            if off.copy_abs() > EXACT.multiply(self.nominal, _PLAUSIBLE):
                yield (
                    "conventional_mass",
                    "weight-mass-implausible",
                    "more than 10 % from the nominal mass: a wrong unit or another weight",
                )


def by_name(stated: Mapping[str, Mapping[str, Any]]) -> dict[str, ReferenceWeight]:
    """Weights from what is stated of each under its name."""
    return {name: ReferenceWeight(name=name, **weight) for name, weight in stated.items()}
