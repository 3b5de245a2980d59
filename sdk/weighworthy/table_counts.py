"""What became of the rows of a table: counted from its answer, and which rows to look at first."""

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from itertools import chain, count, repeat
from typing import Any

from weighworthy.errors import ProtocolError
from weighworthy.results import VERDICTS

FIRST_ADDED = "ww_outcome"
PLACE = ["ww_sheet", "ww_row"]
NOT_JUDGED = "none"
_COUNTED = ("ww_outcome", "ww_group", "ww_first_row", "ww_verdict", "ww_usable")
# Checks of several rows that are remembered: more than rows lie between those of one.
_GATHERED = 20_000
# How many rows are named of those that let nothing be used, or are in error.
NAMED = 5
_ROW = re.compile(rb'\{"sheet":(?:null|"(?:[^"\\]|\\.)*"),"rows":\[(\d+)')


@dataclass(frozen=True, slots=True)
class Counts:
    """What became of the rows; ``unusable`` counts judged checks that let nothing be used.

    ``rows_unusable`` and ``rows_faulty`` are the numbers of the first rows of such checks, and of
    the first rows in error, where the answer tells them.
    """

    rows_in: int = 0
    rows_judged: int = 0
    rows_in_error: int = 0
    rows_skipped: int = 0
    checks: int = 0
    unusable: int = 0
    verdicts: Mapping[str, int] = field(default_factory=dict)
    rows_unusable: tuple[int, ...] = ()
    rows_faulty: tuple[int, ...] = ()

    def __add__(self, other: "Counts") -> "Counts":
        both = Counter(self.verdicts) + Counter(other.verdicts)
        return Counts(
            self.rows_in + other.rows_in,
            self.rows_judged + other.rows_judged,
            self.rows_in_error + other.rows_in_error,
            self.rows_skipped + other.rows_skipped,
            self.checks + other.checks,
            self.unusable + other.unusable,
            {name: both[name] for name in (*VERDICTS, NOT_JUDGED) if both[name]},
            tuple(sorted(self.rows_unusable + other.rows_unusable)[:NAMED]),
            tuple(sorted(self.rows_faulty + other.rows_faulty)[:NAMED]),
        )

    @property
    def add_up(self) -> bool:
        """Whether every row is accounted for."""
        return self.rows_in == self.rows_judged + self.rows_in_error + self.rows_skipped


def counts_of(document: Mapping[str, Any]) -> Counts:
    """Counts that were kept as JSON."""
    counts = Counts(**document)
    return replace(
        counts, rows_unusable=tuple(counts.rows_unusable), rows_faulty=tuple(counts.rows_faulty)
    )


class Noted:
    """The first rows that let nothing be used, and the first in error."""

    def __init__(self) -> None:
        self._unusable: list[int] = []
        self._faulty: list[int] = []

    def note(self, outcome: str, row: int | None) -> None:
        """Take a row that is not one to be used."""
        rows = self._unusable if outcome == "judged" else self._faulty
        if row is not None and outcome != "skipped" and len(rows) < NAMED:
            rows.append(row)

    def note_line(self, line: bytes) -> None:
        """The same of a line of JSON."""
        found = _ROW.match(line)
        if found is not None:
            begin = line[found.end() : found.end() + 4000]
            problem, answer = begin.find(b'"problem":'), begin.find(b'"answer":')
            if max(problem, answer) >= 0:
                judged = problem < 0 or 0 <= answer < problem
                self.note("judged" if judged else "error", int(found[1]))

    def added_to(self, counts: Counts) -> Counts:
        """The counts, with these rows named."""
        return replace(counts, rows_unusable=tuple(self._unusable), rows_faulty=tuple(self._faulty))


def counted(rows: Iterator[list[str]], rows_in: int, first_row: int | None) -> Counts:
    """Counts of the rows of an answer in CSV; raises `ProtocolError` if they are not ``rows_in``.

    ``first_row`` is the number of its first row, for rows that bring none.
    """
    above: list[list[str]] = []
    header: list[str] = []
    for header in rows:
        if FIRST_ADDED in header:
            break
        above.append(header)
    numbers: Iterator[int | None] = repeat(None)
    if first_row is not None:
        behind = first_row + len(above)
        numbers = chain(range(first_row, behind), count(behind + 1))
    noted = Noted()
    outcomes: Counter[str] = Counter()
    verdicts: Counter[str] = Counter()
    checks = unusable = 0
    facts = _facts(chain(above, rows), header, numbers, noted)
    for (outcome, verdict, usable, first), times in Counter(facts).items():
        outcomes[outcome] += times
        if outcome == "judged" and first:
            checks += times
            verdicts[verdict or NOT_JUDGED] += times
            unusable += times * (usable != "true")
    counts = Counts(
        rows_in,
        rows_judged=outcomes["judged"],
        rows_in_error=outcomes["error"],
        rows_skipped=outcomes["skipped"],
        checks=checks,
        unusable=unusable,
        verdicts={name: verdicts[name] for name in (*VERDICTS, NOT_JUDGED) if verdicts[name]},
    )
    if not counts.add_up:
        came = outcomes.total()
        raise ProtocolError(f"the answer is not whole: {came} rows came back of {rows_in}")
    return noted.added_to(counts)


def _facts(
    rows: Iterable[list[str]], header: list[str], numbers: Iterator[int | None], noted: Noted
) -> Iterator[tuple[str, str, str, bool]]:
    """Outcome, verdict, usable, and whether it is the first row of its check."""
    outcome, group, begun, verdict, usable = (header.index(name) - len(header) for name in _COUNTED)
    placed = header[: len(PLACE)] == PLACE
    # A judged check of several rows is told by its first; rows of one that was not say the same.
    checks: dict[tuple[str, ...], None] = {}
    for row, number in zip(rows, numbers, strict=False):
        first = True
        if row[group]:
            said = (row[begun],) if row[begun] else tuple(row[outcome:])
            first = said not in checks
            checks[said] = None
            if len(checks) > _GATHERED:
                del checks[next(iter(checks))]
        if row[usable] != "true" and first:
            noted.note(row[outcome], int(row[1]) if placed else number)
        yield row[outcome], row[verdict], row[usable], first
