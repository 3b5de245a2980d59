"""Which results are in doubt: on a terminal, and as CSV."""

import csv
import io
import re
from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from itertools import groupby
from typing import Any

from weighworthy.cli_common import counted
from weighworthy.cli_logbook_words import (
    NEEDS,
    LocalTimes,
    findings,
    heading,
    in_columns,
    paragraph,
    reasons,
    sentence,
)
from weighworthy.cli_words import amount
from weighworthy.logbook import LogbookAnswer

_MOST_URGENT_FIRST = ("action", "assessment", "nothing")
_CROSSING = {
    "cannot": "on the same side of every limit",
    "could": "may have crossed a limit",
    "unknown": "whether it crossed a limit is not known",
    None: "",
}
_COLUMNS = (
    *("result", "instrument", "measured_at", "method", "loss_percent", "initial_mass_g"),
    *("lower_limit_percent", "upper_limit_percent", "support", "because_of", "needs"),
    *("limit_crossed", "failed_check", "fault", "shift_points", "shift_from", "shift_to"),
    *("loss_without_shift_percent", "assessed_by_entry", "assessed_as", "reason"),
)
# How a cell begins that a spreadsheet program would reckon with (CWE-1236).
_FORMULA = re.compile(r"(?:\A|[\r\n])[\s\u00a0]*[=+\-@−\t\r]")


def unsettled(rows: Sequence[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    """Results in doubt or without support of which no person has said what becomes of them."""
    states = ("in-doubt", "unsupported")
    return [row for row in rows if row["state"] in states and row["assessed"] is None]


def supported(
    answer: LogbookAnswer, rows: Sequence[Mapping[str, Any]], times: LocalTimes, *, why: bool
) -> str:
    """The results that need something, by instrument and cause, then the summary."""
    lines = [heading(answer, times), ""]
    needy = sorted((row for row in rows if row["needs"] != "nothing"), key=_cause)
    already: set[Any] = set()
    for _, group in groupby(needy, key=_cause):
        alike = list(group)
        lines += [*_group(alike, times), *_reasons(alike, times, already, why=why), ""]
    lines.append(paragraph(sentence(answer.summary["sentence"]), 0))
    if len(rows) != answer.summary["results"]:
        lines.append(f"Shown are those of {counted(len(rows), 'result', 'results')}.")
    if later := answer.summary.get("later"):
        said = counted(later, "result is", "results are")
        lines.append(f"{said} later than that moment and left out.")
    return "\n".join(lines)


def _cause(row: Mapping[str, Any]) -> tuple[Any, ...]:
    needs = _MOST_URGENT_FIRST.index(row["needs"])
    return needs, row["instrument"], row["state"], row["check"] or "", row["sentence"]


def _group(alike: Sequence[Mapping[str, Any]], times: LocalTimes) -> list[str]:
    first = alike[0]
    what = counted(len(alike), "result", "results")
    told = [_effect(row) for row in alike]
    said = times.told(first["sentence"])
    if len(set(told)) == 1 and told[0]:
        said, told = f"{said}; {told[0]}", [""] * len(told)
    losses = [row["loss"] for row in alike if row["loss"] is not None]
    places = max((-loss.as_tuple().exponent for loss in losses), default=0)
    lines = [(*_line(row, times, places), text) for row, text in zip(alike, told, strict=True)]
    state = first["state"].replace("-", " ")
    return [
        f"{NEEDS[first['needs']]}  {first['instrument']}: {what} {state}",
        paragraph(sentence(said), 2),
        *in_columns(lines, 4),
    ]


def _line(row: Mapping[str, Any], times: LocalTimes, places: int) -> tuple[str, ...]:
    low, high = (amount(row[name], None) for name in ("lower_limit", "upper_limit"))
    limits = {(True, True): "", (True, False): f"at most {high}", (False, True): f"at least {low}"}
    none = row["lower_limit"] is None, row["upper_limit"] is None
    within = limits.get(none, f"limits {low} to {high}")
    loss = "" if row["loss"] is None else f"{row['loss']:.{places}f} %"
    return row["result"], times.short(row["at"]), row["method"] or "", loss, within


def _effect(row: Mapping[str, Any]) -> str:
    parts = [_shift(row), _CROSSING[row["crossing"]]]
    return "; ".join(part for part in parts if part)


def _shift(row: Mapping[str, Any]) -> str:
    largest = _largest(row)
    if largest is None:
        return ""
    if largest["value"] is None:
        return "shift not known"
    if largest["lower"] == largest["upper"] == 0:
        return "no shift"
    low, high = (_signed(largest[name]) for name in ("lower", "upper"))
    return f"shift {low} to {high} %"


def _largest(row: Mapping[str, Any]) -> Mapping[str, Any] | None:
    """The shift that counts of a result: what is not known, or else the furthest from zero."""

    def size(shift: Mapping[str, Any]) -> Decimal:
        if shift["lower"] is None or shift["upper"] is None:
            return Decimal("Infinity")
        return Decimal(max(abs(shift["lower"]), abs(shift["upper"])))

    return max(row["shifts"], key=size, default=None)


def _signed(value: Decimal) -> str:
    return f"{'+' if value > 0 else ''}{amount(round(value, 4), None)}".replace("-", "−")


def _reasons(
    alike: Iterable[Mapping[str, Any]], times: LocalTimes, already: set[Any], *, why: bool
) -> list[str]:
    if not why:
        return []
    lines = []
    for row in alike:
        lines += reasons(row["because"], times, 4, already)
    told = (finding for row in alike for finding in row["findings"])
    return ["  because", *lines, *findings(told, times, 2)]


def as_csv(rows: Iterable[Mapping[str, Any]]) -> str:
    """All results, a line each: times as the service gives them, numbers with a decimal point."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(_COLUMNS)
    for row in rows:
        writer.writerow([_cell(value) for value in _values(row)])
    return out.getvalue()


def _values(row: Mapping[str, Any]) -> tuple[Any, ...]:
    shift: Mapping[str, Any] = _largest(row) or {}
    assessed: Mapping[str, Any] = row["assessed"] or {}
    return (
        *(row[name] for name in ("result", "instrument", "at", "method", "loss")),
        *(row[name] for name in ("initial_mass", "lower_limit", "upper_limit")),
        *(row[name] for name in ("state", "check", "needs", "crossing")),
        *(shift.get(name) for name in ("entry", "fault", "value", "lower", "upper", "corrected")),
        *(assessed.get(name) for name in ("entry", "outcome")),
        row["sentence"],
    )


def _cell(value: Any) -> str:
    if isinstance(value, Decimal):
        return f"{value:f}"
    text = "" if value is None else str(value)
    return f"'{text}" if _FORMULA.search(text) else text
