"""Reference weights out of digital calibration certificates (DCC, version 3).

Nothing is guessed: which number is a conventional mass, and of which weight, has to be stated in
the certificate or by whoever imports it. Not looked at are the signature of the certificate and
whether it keeps to its schema; `Certificate.notes` says so, and what was passed over.
"""

import hashlib
import os
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any

from weighworthy.dcc_items import items_of, name_of, placed
from weighworthy.dcc_rows import Row, rows_of
from weighworthy.dcc_values import mass_text
from weighworthy.dcc_xml import (
    DCC,
    SIGNATURE,
    CertificateError,
    contents,
    parse,
    text_of,
)
from weighworthy.profile_toml import inline

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

_VERSION = re.compile(r"3\.[0-9]{1,3}(\.[0-9]{1,3})?(-[A-Za-z0-9.]{1,20})?")
_DATE = re.compile("[0-9]{4}-[0-9]{2}-[0-9]{2}")
_SHARE = 10  # a tenth of the nominal mass: more is another weight, or a wrong unit
_TEXT_LENGTH = 200


@dataclass(frozen=True, slots=True)
class Certificate:
    """What a certificate says of weights. ``weights`` is as in a request or a site file.

    ``digest`` is SHA-256 of the file. ``notes`` are for the person who takes the weights over.
    """

    id: str
    laboratory: str | None
    schema_version: str
    calibrated_on: str
    weights: Mapping[str, Mapping[str, Any]]
    digest: str
    notes: tuple[str, ...] = field(default=(), repr=False)

    def to_toml(self) -> str:
        """The table ``weights`` of a site file, with where it comes from as comments."""
        laboratory = f", {self.laboratory}" if self.laboratory else ""
        head = [f"certificate {self.id}{laboratory}", f"file {self.digest}", *self.notes]
        lines = [f"# {_one_line(text)}" for text in head]
        for name, weight in self.weights.items():
            lines += ["", f"[weights.{_key(name)}]"]
            lines += [f"{key} = {_toml(key, value)}" for key, value in weight.items()]
        return "\n".join(lines) + "\n"


def read_certificate(
    file: str | os.PathLike[str] | bytes,
    *,
    names: Mapping[str, str] | None = None,
    quantity: str | None = None,
    in_order: bool = False,
    due_on: date | str | None = None,
) -> Certificate:
    """The weights of a certificate: a file, or its bytes.

    ``names``     name of yours for each weight, by its id, mark or name in the certificate; without
                  one a weight is called by the mark that the customer gave it, or else the owner,
                  the laboratory, the manufacturer
    ``quantity``  `refType` or name of the quantity that is the conventional mass, where the
                  certificate does not call it so
    ``in_order``  results that name no weight are those of the weights in the order of the list
    ``due_on``    the day to which you use the weights; certificates do not say it

    Raises ``OSError``, `CertificateError` (a ``ValueError``) saying what is in the way,
    ``ImportError`` without defusedxml.
    """
    raw = file if isinstance(file, bytes) else Path(file).read_bytes()
    root = parse(raw)
    version = root.get("schemaVersion", "")
    if not _VERSION.fullmatch(version):
        raise CertificateError(
            f"the certificate has schema version {version[:40] or 'none'}; versions 3 are read"
        )
    _refuse_invalid(root)
    core = root.find(f"{DCC}administrativeData/{DCC}coreData")
    id_ = text_of(None if core is None else core.find(f"{DCC}uniqueIdentifier"))
    if core is None or id_ is None:
        raise CertificateError("the certificate has no unique identifier")
    calibrated_on = _calibrated_on(core)
    items = list(items_of(root))
    found = rows_of(root, quantity)
    due = None if due_on is None else _day(str(due_on), "due_on")
    if due is not None and due < calibrated_on:
        raise CertificateError(f"due on {due}, before it was calibrated on {calibrated_on}")
    common = {"certificate": id_[:_TEXT_LENGTH], "calibrated_on": str(calibrated_on)}
    if due is not None:
        common["due_on"] = str(due)
    weights: dict[str, Mapping[str, Any]] = {}
    for item, row in placed(items, found.rows, in_order=in_order):
        name = name_of(item, names or {})
        if name in weights:
            raise CertificateError(
                f"{name}: there is a second result for it; which one counts has to be said with "
                "`quantity`, or the weights need names of their own"
            )
        weights[name] = {**_weight(row), **common}
    notes = (
        *(f"{what}: {said}" for what, said in found.notes),
        *(f"passed over: {said}" for said in found.ignored),
        _signed(root),
        "not looked at: whether the file keeps to its schema",
    )
    laboratory = root.find(f"{DCC}administrativeData/{DCC}calibrationLaboratory/{DCC}contact")
    named = contents(None if laboratory is None else laboratory.find(f"{DCC}name"))
    digest = "sha256:" + hashlib.sha256(raw).hexdigest()
    first = named[0][:_TEXT_LENGTH] if named else None
    return Certificate(id_, first, version, str(calibrated_on), weights, digest, notes)


def _weight(row: Row) -> dict[str, Any]:
    what = row.what
    mass, nominal = row.mass, row.nominal
    if mass.expanded is None or mass.coverage_factor is None:
        raise CertificateError(f"{what}: no uncertainty is stated with the conventional mass")
    if mass.number <= 0 or mass.expanded <= 0 or nominal <= 0:
        raise CertificateError(f"{what}: masses and uncertainties are greater than zero")
    # Fractions, for the decimal context is that of whoever calls.
    if abs(Fraction(mass.number) - Fraction(nominal)) * _SHARE > nominal:
        raise CertificateError(
            f"{what}: the conventional mass {mass.number:f} g is more than a tenth from the "
            f"nominal {nominal:f} g: a wrong unit, or another weight"
        )
    if Fraction(mass.expanded) * _SHARE > nominal:
        raise CertificateError(
            f"{what}: the uncertainty {mass.expanded:f} g is more than a tenth of the nominal mass"
        )
    density = {} if row.density is None else {"density": f"{row.density:f} kg/m3"}
    return {
        "nominal": mass_text(nominal, what),
        "conventional_mass": mass_text(mass.number, what, nominal),
        "expanded_uncertainty": mass_text(mass.expanded, what),
        "coverage_factor": f"{mass.coverage_factor:f}",
        **density,
    }


def _refuse_invalid(root: "Element") -> None:
    for name in ("valid", "validXMLList"):
        for said in root.iter(f"{DCC}{name}"):
            if {"false", "0"} & set((text_of(said) or "").split()):
                raise CertificateError("the certificate says of something in it that it is invalid")


def _calibrated_on(core: "Element") -> date:
    days = {
        name: _day(text, name)
        for name in ("beginPerformanceDate", "endPerformanceDate", "issueDate")
        if (text := text_of(core.find(f"{DCC}{name}"))) is not None
    }
    end = days.get("endPerformanceDate")
    if end is None:
        raise CertificateError("the certificate does not say when the calibration ended")
    if days.get("beginPerformanceDate", end) > end or days.get("issueDate", end) < end:
        said = ", ".join(f"{name} {day}" for name, day in days.items())
        raise CertificateError(f"the dates of the certificate contradict each other: {said}")
    return end


def _day(text: str, what: str) -> date:
    try:
        # A day may come with a zone in XML; a certificate's day is that of its laboratory.
        if found := _DATE.match(text):
            return date.fromisoformat(found[0])
    except ValueError:
        pass
    raise CertificateError(f"{what}: {text[:40]!r} is no day")


def _signed(root: "Element") -> str:
    if any(True for _ in root.iter(SIGNATURE)):
        return "not looked at: the signature of the file; verify it where you keep the file"
    return "the file is not signed: that it comes from the laboratory, something else has to show"


def _one_line(text: str) -> str:
    """A text of the certificate as a comment, in which nothing can end the comment."""
    return "".join(c if c.isprintable() else "?" for c in " ".join(text.split()))


def _key(name: str) -> str:
    return name if re.fullmatch("[A-Za-z0-9_-]+", name) else inline(name)


def _toml(key: str, value: Any) -> str:
    return str(value) if key in ("calibrated_on", "due_on") else inline(value)
