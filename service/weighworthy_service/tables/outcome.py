"""What became of the rows of a table: judged, refused or skipped; each row is one of them."""

from collections import Counter
from dataclasses import dataclass, field
from typing import Any, Final, NamedTuple

from weighworthy_service.checks.outcome import VERDICTS, Verdict
from weighworthy_service.profiles.refusal import Refusal
from weighworthy_service.tables.quick import Found
from weighworthy_service.tables.tally import Came, Tally
from weighworthy_service.wire.coded import FieldError

# In the summary: a check of which nothing could be judged has the verdict null.
NOT_JUDGED: Final = "none"


class Where(NamedTuple):
    """The cell that a fault is about. `column` is its name, `cell` its text; None: no such."""

    sheet: str | None = None
    row: int | None = None
    column: str | None = None
    cell: str | None = None


class RowError(NamedTuple):
    """One fault: JSON pointer into the request that the rows make, code, sentence, and the cell."""

    pointer: str
    code: str
    detail: str
    where: Where


class Answered(NamedTuple):
    """A check that was judged, of one or more rows."""

    sheet: str | None
    rows: tuple[int, ...]
    kind: str
    found: Found[Any]


class Refused(NamedTuple):
    """Rows that cannot be judged, `slug` naming the kind of problem."""

    sheet: str | None
    rows: tuple[int, ...]
    slug: str
    detail: str
    errors: tuple[RowError, ...]
    labels: dict[str, str]


class Skipped(NamedTuple):
    """A row that holds no check by its place or look."""

    sheet: str | None
    row: int


RowOutcome = Answered | Refused | Skipped


def refused(
    sheet: str | None,
    rows: tuple[int, ...],
    refusal: Refusal,
    *,
    labels: dict[str, str] | None = None,
) -> Refused:
    """A refusal of the request that rows make, where nothing is known of single cells."""
    where = Where(sheet, rows[0])
    errors = tuple(row_error(error, where) for error in refusal.errors)
    return Refused(sheet, rows, refusal.slug, refusal.detail, errors, labels or {})


def row_error(error: FieldError, where: Where) -> RowError:
    """A fault of a request with the place where it stands in the table."""
    return RowError(error.pointer, error.code, error.detail, where)


@dataclass(slots=True)
class Counts:
    """How many rows and checks there were so far; `rows_in` is counted where rows are read."""

    rows_in: int = 0
    judged: int = 0
    in_error: int = 0
    skipped: int = 0
    checks: int = 0
    tally: Tally = field(default_factory=Tally)

    def refuse(self, rows: int, slug: str) -> None:
        """Count rows that could not be judged."""
        self.in_error += rows
        self.tally.refused[slug] += rows

    def judge(self, rows: int, came: Came) -> None:
        """Count the rows of one judged check."""
        self.judged += rows
        self.checks += 1
        self.tally.judged[came] += 1

    @property
    def verdicts(self) -> Counter[Verdict | None]:
        """How many checks had which verdict."""
        found: Counter[Verdict | None] = Counter()
        for came, number in self.tally.judged.items():
            found[came.verdict] += number
        return found

    @property
    def add_up(self) -> bool:
        """Whether every row that was read is accounted for."""
        return self.rows_in == self.judged + self.in_error + self.skipped


def summary(
    counts: Counts, read_as: dict[str, Any], *, complete: bool, broken_by: str | None = None
) -> dict[str, Any]:
    """The last line of an answer. `broken_by` says why it is not complete."""
    found = counts.verdicts
    verdicts = {verdict: found[verdict] for verdict in VERDICTS}
    return {
        "summary": {
            "complete": complete,
            "broken_by": broken_by,
            "rows_in": counts.rows_in,
            "rows_judged": counts.judged,
            "rows_in_error": counts.in_error,
            "rows_skipped": counts.skipped,
            "checks": counts.checks,
            "verdicts": {**verdicts, NOT_JUDGED: found[None]},
            "read_as": read_as,
        }
    }
