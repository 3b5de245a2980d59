"""Which check a row belongs to, and which checks a table tears apart."""

from collections.abc import Iterable, Sequence
from datetime import datetime
from functools import lru_cache
from math import isnan, nan
from typing import Any, Final, NamedTuple

from weighworthy_service.tables.cells import AnyRow, CellFault, Row
from weighworthy_service.tables.nearness import Nearness, Stretch
from weighworthy_service.tables.outcome import RowError
from weighworthy_service.tables.plan import CellReader, KindPlan, Plan

# Times, for rows of one check mostly have the same.
_KEPT: Final = 1024
Key = tuple[str, ...]


class Placed(NamedTuple):
    """The plan that a row is read by, and the key of its check; None: it is a check of its own."""

    plan: KindPlan
    key: Key | None


class Unplaced(Exception):  # noqa: N818  the name says what is wrong
    """Nobody can tell which check the row belongs to."""

    def __init__(self, error: RowError) -> None:
        super().__init__(error.detail)
        self.error = error


def place(plan: Plan, row: Row) -> Placed | None:
    """Where a row belongs; None where the mapping says that it is no check.

    Raises:
        Unplaced: a cell that would tell is empty or cannot be read.
    """
    try:
        kind = plan.kind_of(row)
    except CellFault as fault:
        assert plan.check is not None  # noqa: S101  only its cell can be at fault
        raise Unplaced(_error(plan.check, row, fault, "/check")) from None
    if kind is None or kind.gathers is None:
        return None if kind is None else Placed(kind, None)
    texts = []
    for reader in plan.key:
        try:
            text = reader.read(row[2])
            if text is None:
                raise CellFault("required", "an empty cell does not tell which check this is")
        except CellFault as fault:
            raise Unplaced(_error(reader, row, fault, "")) from None
        texts.append(text)
    return Placed(kind, (kind.kind.slug, *texts))


def _error(reader: CellReader, row: Row, fault: CellFault, pointer: str) -> RowError:
    return RowError(pointer, fault.code, fault.detail, reader.where(row))


def seconds(plan: KindPlan, values: Sequence[Any]) -> float:
    """The time that a row states, in seconds of the epoch; not a number: it states none."""
    at = plan.moment
    text = None if at is None else values[at]
    return nan if text is None else _seconds_of(text)


@lru_cache(maxsize=_KEPT)
def _seconds_of(text: str) -> float:
    return datetime.fromisoformat(text).timestamp()


def torn_keys(rows: Iterable[AnyRow], plan: Plan) -> frozenset[int]:
    """Hashes of the keys of which rows lie too far apart to be gathered, and no times explain it.

    Then nobody can tell whether it was one check or two, and neither must be judged.
    """
    gather = plan.mapping.gather
    within = gather.within if gather is not None else 0
    known = Nearness[Stretch]()
    latest: dict[int, Stretch] = {}
    torn = set[int]()
    for row in rows:
        if not isinstance(row, tuple):
            continue
        try:
            placed = place(plan, row)
        except Unplaced:
            continue
        if placed is None or placed.key is None:
            continue
        number, hashed, time = row[1], hash(placed.key), _seconds(placed.plan, row)
        last = latest.get(hashed)
        if last is not None and (isnan(time) or isnan(last.lo)):
            near = [last]
        else:
            near = known.near(hashed, time) if last is not None else []
        stretch = near[0] if near else Stretch(number, time, time)
        for other in near:
            if number > other.first + within:
                torn.add(hashed)
        if not isnan(time):
            stretch.widen(time, time)
            known.put(hashed, time, stretch)
        latest[hashed] = stretch
    return frozenset(torn)


def _seconds(plan: KindPlan, row: Row) -> float:
    """The same before the whole row is read."""
    if plan.moment is None:
        return nan
    values: list[Any] = [None] * len(plan.readers)
    try:
        values[plan.moment] = plan.readers[plan.moment].read(row[2])
    except CellFault:
        return nan
    return seconds(plan, values)
