"""Quantities of digital calibration certificates: numbers kept as written, units, uncertainties.

D-SI writes units as `\\kilogram`, `\\milli\\gram`. Uncertainties have one form in version 1 of D-SI
and another in version 2; both are read, alone and in lists.
"""

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING, TypeVar

from weighworthy.dcc_xml import SI, CertificateError, text_of

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

_T = TypeVar("_T")

_NUMBER = re.compile(r"[+-]?[0-9]{1,30}(?:\.[0-9]{1,30})?(?:[eE][+-]?[0-9]{1,2})?")
_GRAM = re.compile(r"\\(?:(kilo|hecto|deca|deci|centi|milli|micro|nano)\\?)?gram")
_POWERS = {
    None: 0,
    "kilo": 3,
    "hecto": 2,
    "deca": 1,
    "deci": -1,
    "centi": -2,
    "milli": -3,
    "micro": -6,
    "nano": -9,
}
DENSITY = r"\kilogram\metre\tothe{-3}"
# Units of a request, with their powers of ten in g; the largest that leaves a whole gram or more.
_UNITS = (("g", 0), ("mg", -3), ("ug", -6))
_INTEGER, _FRACTION = 12, 9
# How far k may stay below what a normal distribution needs for the stated probability, and go above
# what Student's t has: it is rounded.
_LEEWAY = 0.03
# What calibration certificates state; common practice.
_USUAL = 0.9545
# Names of the elements that hold a value, k and p, by the element around them; the last one for a
# standard uncertainty, which has no k.
_EXPANDED = {
    "expandedUnc": "uncertainty",
    "expandedMU": "valueExpandedMU",
    "expandedUncXMLList": "uncertaintyXMLList",
    "expandedMUXMLList": "valueExpandedMUXMLList",
}
_STANDARD = {
    "standardUnc": "uncertainty",
    "standardMU": "valueStandardMU",
    "standardUncXMLList": "uncertaintyXMLList",
    "standardMUXMLList": "valueStandardMUXMLList",
}


@dataclass(frozen=True, slots=True)
class Value:
    """One number in g (or in `unit`, where that is no mass), with its uncertainty in the same."""

    number: Decimal
    unit: str
    expanded: Decimal | None = None
    coverage_factor: Decimal | None = None


def values_of(quantity: "Element", what: str) -> list[Value]:
    """The values of a quantity; empty where it holds none that is real.

    Raises `CertificateError` naming `what`.
    """
    hybrid = quantity.find(f"{SI}hybrid")
    if hybrid is None:
        return _values(quantity, what)
    # The same in several units.
    several = [_one(element, what) for element in hybrid]
    masses = [one for one in several if one and all(value.unit == "g" for value in one)]
    if any([v.number for v in one] != [v.number for v in masses[0]] for one in masses[1:]):
        raise CertificateError(f"{what}: the values in two units are not the same")
    # The uncertainty may stand with one of them alone.
    stated = [one for one in masses if all(value.expanded is not None for value in one)]
    if any(one != stated[0] for one in stated[1:]):
        raise CertificateError(f"{what}: the uncertainties in two units are not the same")
    return (stated or masses or several or [[]])[0]


def _values(around: "Element", what: str) -> list[Value]:
    for name in ("real", "realListXMLList"):
        element = around.find(f"{SI}{name}")
        if element is not None:
            return _one(element, what)
    return []


def _one(element: "Element", what: str) -> list[Value]:
    several = element.tag == f"{SI}realListXMLList"
    suffix = "XMLList" if several else ""
    numbers = _numbers(element, f"value{suffix}", what)
    units = (text_of(element.find(f"{SI}unit{suffix}")) or "").split()
    units = _to_length(units, len(numbers), f"{what}: units")
    uncertainties = _uncertainties(element, len(numbers), what)
    return [
        _value(number, unit, uncertainty)
        for number, unit, uncertainty in zip(numbers, units, uncertainties, strict=True)
    ]


def _value(number: Decimal, unit: str, uncertainty: tuple[Decimal, Decimal] | None) -> Value:
    power = gram_power(unit)
    expanded, k = uncertainty or (None, None)
    if power is None:
        return Value(number, unit, expanded, k)
    return Value(
        shifted(number, power), "g", None if expanded is None else shifted(expanded, power), k
    )


def shifted(number: Decimal, power: int) -> Decimal:
    """The number times a power of ten: no digit is added, lost or rounded, in any context."""
    sign, digits, exponent = number.as_tuple()
    return Decimal((sign, digits, int(exponent) + power))


def gram_power(unit: str) -> int | None:
    """The power of ten of a unit of mass in g; None where it is no unit of mass."""
    found = _GRAM.fullmatch(unit)
    if found is None:
        return 6 if unit == r"\tonne" else None
    return _POWERS[found[1]]


def _uncertainties(
    element: "Element", count: int, what: str
) -> Sequence[tuple[Decimal, Decimal] | None]:
    found = [one for one in element.iter() if _local(one) in (_EXPANDED | _STANDARD)]
    if any(_local(one).startswith("coverageInterval") for one in element.iter()):
        raise CertificateError(
            f"{what}: the uncertainty is a coverage interval; k and U are needed"
        )
    if not found:
        return [None] * count
    if len(found) > 1:
        raise CertificateError(f"{what}: two uncertainties are stated for one value")
    (one,) = found
    name = _local(one)
    suffix = "XMLList" if name.endswith("XMLList") else ""
    if name in _STANDARD:
        standard = _numbers(one, _STANDARD[name], what)
        return [(u, Decimal(1)) for u in _to_length(standard, count, f"{what}: uncertainties")]
    expanded = _to_length(_numbers(one, _EXPANDED[name], what), count, f"{what}: uncertainties")
    factors = _numbers(one, f"coverageFactor{suffix}", what, needed=False)
    if not factors:
        raise CertificateError(f"{what}: no coverage factor is stated beside the uncertainty")
    factors = _to_length(factors, count, f"{what}: coverage factors")
    chances = _numbers(one, f"coverageProbability{suffix}", what, needed=False)
    shape = text_of(one.find(f"{SI}distribution{suffix}")) or "normal"
    for k in factors:
        if k < 1:
            raise CertificateError(f"{what}: the coverage factor {k} is below 1")
    if chances:
        for k, p in zip(factors, _to_length(chances, count, f"{what}: probabilities"), strict=True):
            _hold_together(k, p, shape, what)
    elif float(largest := max(factors)) > (most := _most(_USUAL)) + _LEEWAY:
        raise CertificateError(
            f"{what}: the coverage factor {largest} comes without its probability; for about 95 % "
            f"it is at most {most:.2f}"
        )
    return list(zip(expanded, factors, strict=True))


def _hold_together(k: Decimal, p: Decimal, shape: str, what: str) -> None:
    if not 0 < p < 1:
        raise CertificateError(f"{what}: the coverage probability {p} is not between 0 and 1")
    from statistics import NormalDist  # noqa: PLC0415  every script would wait for it otherwise

    needed = NormalDist().inv_cdf((1 + float(p)) / 2)
    if shape == "normal" and float(k) < needed - _LEEWAY:
        raise CertificateError(
            f"{what}: k = {k} and a coverage probability of {p} contradict each other: "
            f"a normal distribution needs {needed:.2f}"
        )
    if float(k) > (most := _most(float(p))) + _LEEWAY:
        raise CertificateError(
            f"{what}: k = {k} and a coverage probability of {p} contradict each other: it is at "
            f"most {most:.2f}"
        )


def _most(p: float) -> float:
    """Student's t with one degree of freedom for a coverage probability (GUM table G.2).

    No effective degrees of freedom need a larger k, which would make the uncertainty too small.
    """
    return math.tan(math.pi * p / 2)


def _numbers(element: "Element", name: str, what: str, *, needed: bool = True) -> list[Decimal]:
    words = (text_of(element.find(f"{SI}{name}")) or "").split()
    if needed and not words:
        raise CertificateError(f"{what}: {name} is missing")
    for word in words:
        if not _NUMBER.fullmatch(word):
            raise CertificateError(f"{what}: {word[:40]!r} is no number of D-SI")
    return [Decimal(word) for word in words]


def _to_length(several: list[_T], count: int, what: str) -> list[_T]:
    if len(several) == count:
        return several
    if len(several) == 1:
        return several * count
    raise CertificateError(f"{what}: {len(several)} for {count} values")


def _local(element: "Element") -> str:
    return element.tag.removeprefix(SI) if isinstance(element.tag, str) else ""


def mass_text(number: Decimal, what: str, beside: Decimal | None = None) -> str:
    """A mass in g as a request has it, with the digits that it was written with.

    In the unit that suits it, or what it stands ``beside``.
    """
    like = number if beside is None else beside
    written = [(shifted(number, -power), unit) for unit, power in _UNITS]
    fitting = [(scaled, unit) for scaled, unit in written if _fits(scaled)]
    if not fitting:
        raise CertificateError(f"{what}: {number} g has more digits than a request can hold")
    # Read best in the largest unit that leaves one or more of it.
    suits = [unit for unit, power in _UNITS if abs(shifted(like, -power)) >= 1]
    scaled, unit = next((one for one in fitting if one[1] in suits), fitting[-1])
    return f"{scaled:f} {unit}"


def _fits(number: Decimal) -> bool:
    whole, _, fraction = f"{number:f}".lstrip("-").partition(".")
    return len(whole) <= _INTEGER and len(fraction) <= _FRACTION
