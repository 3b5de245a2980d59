"""Results of a certificate as rows: of each, nominal and conventional mass, and of what it is."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING, Literal

from weighworthy.dcc_values import DENSITY, Value, values_of
from weighworthy.dcc_xml import DCC, CertificateError, contents, nested, text_of, tokens

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

Role = Literal["conventional", "nominal", "density", "label"]
# Words of what is about a mass and is none.
_ABOUT = (
    "deviation",
    "correction",
    "error",
    "uncertainty",
    "difference",
    "abweichung",
    "korrektion",
)
_CONVENTIONAL = ("conventional mass", "conventional value", "konventionelle", "conventionalmass")
_NOMINAL = ("nominal", "nennwert")
_DENSITY = ("density", "dichte")
_LABEL = ("identification", "marking", "kennzeichnung", "weight id")


@dataclass(frozen=True, slots=True)
class Row:
    """One result. ``refs`` are ids of items that it or what is around it refers to."""

    what: str
    mass: Value
    nominal: Decimal
    density: Decimal | None
    refs: frozenset[str]
    label: str | None


@dataclass(frozen=True, slots=True)
class Found:
    """All rows; what was passed over; remarks on a nominal mass, by what it is of."""

    rows: tuple[Row, ...]
    ignored: tuple[str, ...]
    notes: tuple[tuple[str, str], ...]


def rows_of(root: "Element", quantity: str | None) -> Found:
    """The rows of a certificate. ``quantity``: `refType` or name of what is the conventional mass.

    Raises `CertificateError`.
    """
    rows: list[Row] = []
    ignored: list[str] = []
    notes: list[tuple[str, str]] = []
    for measured in nested(root, "measurementResults", "measurementResult"):
        for result in nested(measured, "results", "result"):
            around = {*tokens(measured, "refId"), *tokens(result, "refId")}
            title = next(iter(contents(result.find(f"{DCC}name"))), "a result")[:80]
            for data in nested(result, "data"):
                for group, refs in _groups(data, frozenset(around)):
                    reader = _Reader(title, refs, quantity, ignored, notes)
                    rows += reader.rows(group)
    if not rows:
        told = f"; there are: {', '.join(ignored[:10])}" if ignored else ""
        wanted = f"no quantity {quantity!r}" if quantity else "no conventional mass"
        raise CertificateError(
            f"the certificate has {wanted} among its results{told}; which quantity it is can be "
            "said (`quantity`, --quantity)"
        )
    return Found(tuple(rows), tuple(dict.fromkeys(ignored)), tuple(notes))


def _groups(
    around: "Element", refs: frozenset[str]
) -> Iterator[tuple[list["Element"], frozenset[str]]]:
    """Quantities that stand together, with the items that are referred to around them."""
    refs |= set(tokens(around, "refId"))
    own = around.findall(f"{DCC}quantity")
    if own:
        yield own, refs
    for below in around.findall(f"{DCC}list"):
        yield from _groups(below, refs)


@dataclass(frozen=True, slots=True)
class _Reader:
    """Reads the quantities that stand together in a result; tells what it passes over."""

    title: str
    refs: frozenset[str]
    wanted: str | None
    ignored: list[str]
    notes: list[tuple[str, str]]

    def rows(self, group: Sequence["Element"]) -> Iterator[Row]:
        """A row for each value of the conventional mass, if there is any."""
        by_role = self._by_role(group)
        mass = by_role.pop("conventional", None)
        if mass is None:
            self.ignored.extend(_called(element) for element in by_role.values())
            return
        what = f"{self.title}: {_called(mass)}"
        masses = values_of(mass, what)
        if not masses or any(value.unit != "g" for value in masses):
            unit = masses[0].unit[:40] if masses else "none"
            raise CertificateError(f"{what}: no mass, its unit is {unit}")
        count, refs = len(masses), self.refs | set(tokens(mass, "refId"))
        nominals = self._numbers(by_role.get("nominal"), count, "g")
        densities = self._numbers(by_role.get("density"), count, DENSITY)
        labels = self._labels(by_role.get("label"), count)
        for position, value in enumerate(masses):
            label, nominal = labels[position], nominals[position]
            told = f"{what}, {label or position + 1}" if count > 1 else what
            if nominal is None:
                nominal = _nearest(value.number, told)
                said = f"nominal mass not stated; {nominal:f} g is the one of R 111 within a tenth"
                self.notes.append((told, said))
            yield Row(told, value, nominal, densities[position], refs, label)

    def _by_role(self, group: Sequence["Element"]) -> dict[Role, "Element"]:
        by_role: dict[Role, Element] = {}
        for element in group:
            role = _role(element, self.wanted)
            if role is None:
                self.ignored.append(_called(element))
            elif role in by_role:
                raise CertificateError(
                    f"{self.title}: {_called(element)} is a second {role} quantity beside "
                    f"{_called(by_role[role])}; which one counts can be said (`quantity`, "
                    "--quantity)"
                )
            else:
                by_role[role] = element
        return by_role

    def _numbers(
        self, quantity: "Element | None", count: int, unit: str
    ) -> Sequence[Decimal | None]:
        if quantity is None:
            return [None] * count
        what = f"{self.title}: {_called(quantity)}"
        values = values_of(quantity, what)
        if len(values) != count:
            raise CertificateError(f"{what}: {len(values)} values for {count} masses")
        if any(value.unit != unit for value in values):
            raise CertificateError(f"{what}: the unit {values[0].unit[:40]} is not read here")
        return [value.number for value in values]

    def _labels(self, quantity: "Element | None", count: int) -> Sequence[str | None]:
        if quantity is None:
            return [None] * count
        labels = (text_of(quantity.find(f"{DCC}charsXMLList")) or "").split()
        if len(labels) != count:
            what = f"{self.title}: {_called(quantity)}"
            raise CertificateError(f"{what}: {len(labels)} names for {count} masses")
        return labels


def _role(quantity: "Element", wanted: str | None) -> Role | None:
    """What a quantity is, by its `refType` or by its name in any language."""
    types, names = tokens(quantity, "refType"), contents(quantity.find(f"{DCC}name"))
    if wanted is not None and (wanted in types or wanted in names):
        return "conventional"
    words = [*(one.casefold() for one in types), *(one.casefold() for one in names)]

    def says(*parts: str) -> bool:
        return any(part in word for word in words for part in parts)

    role: Role | None = None
    if says(*_ABOUT):
        role = None
    elif says(*_CONVENTIONAL):
        role = None if wanted is not None else "conventional"
    elif says(*_NOMINAL):
        role = "nominal"
    elif says(*_DENSITY) and not says("air", "luft"):
        role = "density"
    elif says(*_LABEL) and quantity.find(f"{DCC}charsXMLList") is not None:
        role = "label"
    return role


def _called(quantity: "Element") -> str:
    """A quantity by its name, or its `refType`."""
    names = contents(quantity.find(f"{DCC}name"))
    return (names or tokens(quantity, "refType") or ["a quantity without name"])[0][:80]


def _nearest(mass: Decimal, what: str) -> Decimal:
    """The nominal mass of R 111 (1, 2 or 5 times a power of ten) that a mass is a tenth from."""
    if mass <= 0:
        raise CertificateError(f"{what}: masses are greater than zero")
    for power in (mass.adjusted(), mass.adjusted() + 1):
        for digit in (1, 2, 5):
            nominal = Decimal((0, (digit,), power))
            if abs(Fraction(mass) - Fraction(nominal)) * 10 <= nominal:
                return nominal
    raise CertificateError(
        f"{what}: no nominal mass is stated, and {mass:f} g is near none of R 111 (1, 2 or 5 times "
        "a power of ten)"
    )
