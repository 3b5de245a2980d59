"""The rows of one check, until it is whole: then one request, or what keeps it from being one."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal
from typing import Any, NamedTuple

from weighworthy_service.json_document import pointer
from weighworthy_service.tables.asked import Asked, Item, incomplete, invalid
from weighworthy_service.tables.cells import CellFault, Row
from weighworthy_service.tables.field_readers import FieldReader
from weighworthy_service.tables.outcome import RowError
from weighworthy_service.tables.placing import Key, seconds
from weighworthy_service.tables.plan import CellReader, KindPlan, ReadRow

# A place in the order of the table, which items come out by.
InOrder = tuple[int, Item]


class Member(NamedTuple):
    """A row of the check: its place in the table, what it says, and its number in the check."""

    turn: int
    read: ReadRow
    order: Decimal | None
    errors: tuple[RowError, ...]


@dataclass(slots=True)
class Group:
    """A check that is being gathered. `doubt` says why it must not be judged, if known already;
    `passed` is a row that could not be placed since the last one of the check."""

    key: Key
    plan: KindPlan
    turn: int
    first: int
    time: float
    doubt: str | None = None
    passed: str | None = None
    members: list[Member] = field(default_factory=list)

    @property
    def name(self) -> str:
        """The texts that the rows have in common, for people."""
        return " / ".join(self.key[1:])


def member(turn: int, read: ReadRow, by: CellReader | None) -> Member:
    """A row with the number that orders it, if a column does."""
    if by is None:
        return Member(turn, read, None, read.errors)
    try:
        order = by.read(read.row[2])
        if order is None:
            raise CellFault("required", "the cell that orders the rows of the check is empty")
    except CellFault as fault:
        error = RowError("", fault.code, fault.detail, by.where(read.row))
        return Member(turn, read, None, (*read.errors, error))
    return Member(turn, read, order, read.errors)


def closed(group: Group, by: CellReader | None, doubt: str | None) -> list[InOrder]:
    """What comes of a group to which no more rows come; `doubt` keeps it from being judged."""
    members = group.members
    if by is not None:
        members = sorted(members, key=lambda one: (one.order is None, one.order or 0))
    faults = [_faults(group.plan, members, position, by) for position in range(len(members))]
    if doubt is None and not any(faults):
        return [(group.turn, _asked(group, members))]
    return list(_refused(group, members, faults, doubt))


def _asked(group: Group, members: list[Member]) -> Asked:
    plan, listed = group.plan, group.plan.gathers
    document = plan.document(_common(plan, members))
    assert listed is not None  # noqa: S101  otherwise there is no group
    document[listed] = [one.read.document[listed][0] for one in members]
    return Asked(plan, tuple(one.read.row for one in members), document, group.name)


def _common(plan: KindPlan, members: list[Member]) -> list[Any]:
    """What the rows say of the check as a whole. It was done when its first row was."""
    values: list[Any] = []
    for at, reader in enumerate(plan.readers):
        said = [one.read.values[at] for one in members if one.read.values[at] is not None]
        if reader.field.gathers is not None or not said:
            values.append(None)
        else:
            values.append(min(said, key=datetime.fromisoformat) if at == plan.moment else said[0])
    return values


def _faults(
    plan: KindPlan, members: list[Member], position: int, by: CellReader | None
) -> list[RowError]:
    """What is wrong with one row of a check, and with it beside the others."""
    one = members[position]
    found = [_moved(error, plan, position) for error in one.errors]
    twin = members[position - 1] if position else None
    if by is not None and twin is not None and one.order is not None and one.order == twin.order:
        detail = (
            f"row {twin.read.row[1]} of the same check has the same number; "
            "if it is of another check, state in `by` what tells them apart"
        )
        found.append(RowError("", "number-twice", detail, by.where(one.read.row)))
    for at, reader in enumerate(plan.readers):
        value = one.read.values[at]
        if value is None or reader.field.gathers is not None or at == plan.moment:
            continue
        other = next(m for m in members if m.read.values[at] is not None)
        if other.read.values[at] != value:
            found.append(_difference(reader, one.read.row, other.read.row))
    return found


def _difference(reader: FieldReader, row: Row, other: Row) -> RowError:
    here, there = reader.where(row), reader.where(other)
    detail = (
        f"{here.cell!r} in row {here.row} and {there.cell!r} in row {there.row}: all rows of a "
        "check must say the same here"
    )
    return RowError(reader.pointer, "rows-differ", detail, here)


def _moved(error: RowError, plan: KindPlan, position: int) -> RowError:
    """The error with the pointer of the place that the row has in the check."""
    listed = pointer(plan.gathers or "", 0)
    if error.pointer == listed or error.pointer.startswith(f"{listed}/"):
        below = error.pointer.removeprefix(listed)
        return error._replace(pointer=pointer(plan.gathers or "", position) + below)
    return error


def _refused(
    group: Group, members: list[Member], faults: list[list[RowError]], doubt: str | None
) -> Iterator[InOrder]:
    """The faulty rows with their own faults, all others with what keeps them from being judged."""
    check, name = group.plan.kind.slug, group.name
    others: list[Member] = []
    first_bad: Row | None = None
    for one, errors in zip(members, faults, strict=True):
        if errors:
            row = one.read.row
            first_bad = first_bad or row
            said = tuple(errors)
            yield (
                one.turn,
                invalid(row, said, labels=labels_of(one.read), check=check, group=name),
            )
        else:
            others.append(one)
    if not others:
        return
    others.sort(key=lambda one: one.turn)
    why = doubt
    if why is None:
        assert first_bad is not None  # noqa: S101  otherwise the check would be whole
        why = f"row {first_bad[1]} of the same check {name!r} is faulty"
    rows = tuple(one.read.row for one in others)
    yield others[0].turn, incomplete(rows, why, labels_of(others[0].read), check, name)


def labels_of(read: ReadRow) -> dict[str, str]:
    """The labels of a row, by which its sender knows it."""
    labels: dict[str, str] = read.document.get("labels", {})
    return labels


def group_of(key: Key, turn: int, read: ReadRow) -> Group:
    """A check that begins with a row."""
    return Group(key, read.plan, turn, read.row[1], seconds(read.plan, read.values))
