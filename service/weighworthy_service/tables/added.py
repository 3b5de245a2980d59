"""The columns that an answer adds to a table, and cells that no spreadsheet takes for a formula."""

import re
from decimal import Decimal
from typing import Final

from weighworthy_service.checks.outcome import Brief
from weighworthy_service.checks.terms import ProfileIdentity
from weighworthy_service.metrology.quantity import UNITS
from weighworthy_service.tables.cells import Cell, NumberCell, shown
from weighworthy_service.tables.outcome import Refused, RowError

ADDED: Final = (
    "ww_outcome",
    "ww_check",
    "ww_group",
    "ww_first_row",
    "ww_verdict",
    "ww_usable",
    "ww_criterion",
    "ww_value",
    "ww_unit",
    "ww_lower_limit",
    "ww_upper_limit",
    "ww_expanded_uncertainty",
    "ww_margin",
    "ww_findings",
    "ww_profile",
    "ww_profile_digest",
    "ww_error",
)
PLACE: Final = ("ww_sheet", "ww_row")
SKIPPED: Final = ["skipped", *[""] * (len(ADDED) - 1)]
# Where the added cells hold what differs under one ruling.
VALUE, MARGIN = ADDED.index("ww_value"), ADDED.index("ww_margin")
# Errors of one row that are told in its cell; the others are counted.
_TOLD: Final = 3
_FLAGS: Final = {True: "true", False: "false", None: ""}

# CWE-1236: how a cell begins that a spreadsheet program would reckon with, also behind blanks or a
# line break in it. What is nothing but a negative number is let through here already.
_FORMULA: Final = re.compile(r"[\r\n][\s\u00a0]*(?:[=+@−\t\r＝＋－＠]|-(?![0-9.,]*(?:[\r\n]|\Z)))")
# Where no cell begins so, each is empty or begins with a letter or digit: quicker to tell.
_NOT_PLAIN: Final = re.compile(r"\n[^0-9A-Za-z\n]")
_UNIT: Final = "|".join(re.escape(unit) for units in UNITS.values() for unit in units)
_NUMBER: Final = re.compile(
    rf"[+\-−]?[0-9][0-9.,]*(?:['’ \u00a0\u202f][0-9]{{3}}[.,0-9]*)*(?:[ \u00a0]?(?:{_UNIT}))?|-+"
)


def may_be_formula(text: str) -> bool:
    """Whether any of some cells, one a line, begins so."""
    text = f"\n{text}"
    return _NOT_PLAIN.search(text) is not None and _FORMULA.search(text) is not None


def harmless(text: str) -> str:
    """The text of a cell; with an apostrophe in front where it begins like a formula and is none.

    Numbers stay numbers, negative ones too.
    """
    if not _FORMULA.search(f"\n{text}") or _NUMBER.fullmatch(text):
        return text
    return f"'{text}"


# `id@revision` of a profile, and its digest.
Named = tuple[str, str]


def named(profile: ProfileIdentity) -> Named:
    """How rows name the profile that they were judged by."""
    return f"{profile.id}@{profile.revision}", profile.digest


class Columns:
    """The added cells, numbers with the decimal mark of the table."""

    def __init__(self, decimal: str) -> None:
        self._decimal = decimal

    def judged(
        self,
        brief: Brief,
        check: str,
        profile: Named,
        group: str | None = None,
        first_row: int | None = None,
    ) -> list[str]:
        """Of a row whose check was judged; `first_row` tells checks of one `group` apart."""
        ruling, number = brief.ruling, self.number
        return [
            "judged",
            check,
            "" if group is None else harmless(group),
            "" if first_row is None else str(first_row),
            ruling.verdict or "",
            _FLAGS[ruling.usable],
            ruling.criterion,
            number(brief.value),
            ruling.unit,
            number(ruling.lower_limit),
            number(ruling.upper_limit),
            number(ruling.expanded_uncertainty),
            number(brief.margin),
            " ".join(dict.fromkeys(ruling.finding_codes)),
            *profile,
            "",
        ]

    def error(self, check: str | None, group: str | None, refused: Refused) -> list[str]:
        """Of a row that could not be judged: why, in words that name the cells."""
        errors = refused.errors
        told = [_told(error) for error in errors[:_TOLD]] or [refused.detail]
        more = f"; and {len(errors) - _TOLD} more" if len(errors) > _TOLD else ""
        cells = ["error", check or "", "" if group is None else harmless(group)]
        cells += [""] * (len(ADDED) - 4)
        return [*cells, f"{refused.slug}: {'; '.join(told)}{more}"]

    def cell(self, cell: Cell) -> str:
        """A cell as it came, made harmless."""
        if cell.__class__ is str:
            return harmless(cell)
        if cell is None:
            return ""
        if isinstance(cell, NumberCell):
            return cell.text.replace(".", self._decimal)
        return harmless(shown(cell))

    def number(self, value: float | None) -> str:
        """A number with all its digits, and the decimal mark of the table."""
        if value is None:
            return ""
        text = repr(value)
        if "e" in text:
            text = f"{Decimal(text):f}"
        return text.replace(".", self._decimal)


def _told(error: RowError) -> str:
    where = error.where
    if where.column is None:
        return f"{error.pointer or 'row'} {error.code}: {error.detail}"
    return f"column {where.column!r}, cell {where.cell!r}, {error.code}: {error.detail}"
