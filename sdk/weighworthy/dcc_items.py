"""The weights that a certificate lists: what they are called, and which result is of which."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from weighworthy.dcc_rows import Row
from weighworthy.dcc_xml import DCC, CertificateError, contents, nested, text_of

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

_ISSUERS = ("customer", "owner", "calibrationLaboratory", "manufacturer", "other")
_NAME_LENGTH = 64


@dataclass(frozen=True, slots=True)
class Item:
    """A weight of the certificate: its id in the file, and what it is called by whom."""

    id: str | None
    names: tuple[str, ...]
    marks: tuple[tuple[str, str], ...]

    @property
    def called(self) -> tuple[str, ...]:
        own = (self.id,) if self.id else ()
        return (*own, *(mark for _, mark in self.marks), *self.names)

    def __str__(self) -> str:
        return " / ".join(self.called) or "an item without name"


def items_of(root: "Element") -> Iterator[Item]:
    for item in nested(root, "administrativeData", "items", "item"):
        marks = tuple(
            (text_of(one.find(f"{DCC}issuer")) or "other", value)
            for one in nested(item, "identifications", "identification")
            if (value := text_of(one.find(f"{DCC}value"))) is not None
        )
        yield Item(item.get("id"), tuple(contents(item.find(f"{DCC}name"))), marks)


def placed(
    items: Sequence[Item], rows: Sequence[Row], *, in_order: bool
) -> Iterator[tuple[Item, Row]]:
    """Each result with its weight. Raises `CertificateError` where that is not stated."""
    if not items:
        raise CertificateError("the certificate lists no items")
    if len(items) == 1:
        yield from ((items[0], row) for row in rows)
        return
    open_rows = []
    for row in rows:
        found = [item for item in items if item.id in row.refs] if row.refs else []
        if not found and row.label is not None:
            found = [item for item in items if row.label in item.called]
        if len(found) == 1:
            yield found[0], row
        else:
            open_rows.append(row)
    if not open_rows:
        return
    if in_order and len(open_rows) == len(rows) == len(items):
        yield from zip(items, rows, strict=True)
        return
    asked = (
        f"there are {len(rows)} results for {len(items)} items"
        if in_order
        else "if they stand in the order of the items, say so (`in_order`, --in-order)"
    )
    raise CertificateError(
        f"{open_rows[0].what}: the certificate does not say of which of its {len(items)} items "
        f"this is a result; {asked}"
    )


def name_of(item: Item, names: Mapping[str, str]) -> str:
    given = {names[called] for called in item.called if called in names}
    if len(given) > 1:
        raise CertificateError(f"{item}: two names are given to it")
    if given:
        (name,) = given
    else:
        name = next(_usual_names(item), "")
    if not 0 < len(name) <= _NAME_LENGTH:
        raise CertificateError(
            f"{item}: it needs a name of 1 to {_NAME_LENGTH} characters; give it one (`names`, "
            "--name)"
        )
    return name


def _usual_names(item: Item) -> Iterator[str]:
    for issuer in _ISSUERS:
        marks = [mark for by, mark in item.marks if by == issuer]
        if len(marks) > 1:
            raise CertificateError(
                f"{item}: it has several marks by its {issuer}; give it a name (`names`, --name)"
            )
        yield from marks
    if item.id:
        yield item.id
