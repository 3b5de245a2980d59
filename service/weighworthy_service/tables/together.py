"""The rows of one check, until it is whole: then one request, or what keeps it from being one."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal
from math import nan
from typing import Any, NamedTuple

from weighworthy_service.json_document import pointer
from weighworthy_service.tables.asked import Asked, Item, incomplete, invalid
from weighworthy_service.tables.cells import CellFault, Row, shown
from weighworthy_service.tables.field_readers import FieldReader
from weighworthy_service.tables.nearness import Stretch
from weighworthy_service.tables.outcome import RowError
from weighworthy_service.tables.placing import Key
from weighworthy_service.tables.plan import CellReader, KindPlan, ReadRow

# A place in the order of the table, which items come out by.
InOrder = tuple[int, Item]


class Member(NamedTuple):
    """A row of the check: its place in the table, what it says, and its number in the check."""

    turn: int
    read: ReadRow
    order: Decimal | None
    errors: tuple[RowError, ...]


@dataclass(slots=True, eq=False)
class Group:
    """A check that is being gathered.

    `times` are the first and the last that rows state. `refused` says why it must not be
    judged, `doubt` why not unless the number of its rows tells that they are all its own.
    """

    key: Key
    plan: KindPlan
    turn: int
    times: Stretch
    doubt: str | None = None
    refused: str | None = None
    members: list[Member] = field(default_factory=list)

    def add(self, one: Member, time: float) -> None:
        """Take a row into the check."""
        self.members.append(one)
        self.times.widen(time, time)

    @property
    def first(self) -> int:
        """The number of its first row."""
        return self.times.first

    @property
    def lo(self) -> float:
        """The first time that a row states."""
        return self.times.lo

    @property
    def hi(self) -> float:
        """The last."""
        return self.times.hi

    @property
    def name(self) -> str:
        """The texts that the rows have in common, for people."""
        return shown(" / ".join(self.key[1:]))


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
    if doubt is None and by is None and _agree(group.plan, members):
        return [(group.turn, _asked(group, members))]
    firsts = _first_to_say(group.plan, members)
    faults = [
        _faults(group.plan, members, position, by, firsts) for position in range(len(members))
    ]
    if doubt is None and not any(faults):
        return [(group.turn, _asked(group, members))]
    return list(_refused(group, members, faults, doubt))


def _agree(plan: KindPlan, members: list[Member]) -> bool:
    """Whether nothing can be wrong with any row, as mostly: then none is looked at by itself."""
    if any(one.errors for one in members):
        return False
    first, *others = [one.read.values for one in members]
    return all(
        first[at] == other[at]
        for at, reader in enumerate(plan.readers)
        if reader.field.gathers is None and at != plan.moment
        for other in others
    )


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
        said: list[Any] = []
        if reader.field.gathers is None:
            said = [one.read.values[at] for one in members if one.read.values[at] is not None]
        if not said:
            values.append(None)
        elif at == plan.moment and said.count(said[0]) < len(said):
            values.append(min(said, key=datetime.fromisoformat))
        else:
            values.append(said[0])
    return values


def _first_to_say(plan: KindPlan, members: list[Member]) -> dict[int, ReadRow]:
    """For what is said of the check as a whole, by the position of its reader, the first row."""
    firsts: dict[int, ReadRow] = {}
    for at, reader in enumerate(plan.readers):
        if reader.field.gathers is None and at != plan.moment:
            saying = (one.read for one in members if one.read.values[at] is not None)
            found = next(saying, None)
            if found is not None:
                firsts[at] = found
    return firsts


def _faults(
    plan: KindPlan,
    members: list[Member],
    position: int,
    by: CellReader | None,
    firsts: Mapping[int, ReadRow],
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
    for at, other in firsts.items():
        value = one.read.values[at]
        if value is not None and value != other.values[at]:
            found.append(_difference(plan.readers[at], one.read.row, other.row))
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
    return Group(key, read.plan, turn, Stretch(read.row[1], nan, nan))
