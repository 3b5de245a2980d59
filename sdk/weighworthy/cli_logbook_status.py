"""Whether instruments may be used, on a terminal."""

from collections.abc import Mapping, Sequence
from typing import Any

from weighworthy.cli_common import counted
from weighworthy.cli_logbook_words import (
    STATES,
    LocalTimes,
    findings,
    heading,
    in_columns,
    paragraph,
    reasons,
    sentence,
)
from weighworthy.logbook import LogbookAnswer

_WORST_FIRST = ("out-of-service", "check-needed", "in-service")
_KINDS = {
    "in-force": "● in force",
    "due": "● due",
    "overdue": "□ overdue",
    "asked": "□ asked for",
    "never": "□ never passed",
    "failed": "■ failed",
    "failed-void": "■ void, would have failed",
}


def in_use(rows: Sequence[Mapping[str, Any]]) -> list[str]:
    """The instruments that must not be used, and that no entry has taken out of service."""
    return [row["instrument"] for row in rows if not row["usable"] and row["taken_out"] is None]


def standing(
    answer: LogbookAnswer, rows: Sequence[Mapping[str, Any]], times: LocalTimes, *, why: bool
) -> str:
    """A line for each instrument, what must not be used first."""
    ranked = sorted(rows, key=lambda row: _WORST_FIRST.index(row["state"]))
    lines = [heading(answer, times), ""]
    if why:
        for row in ranked:
            lines += [*_whole(row, times), ""]
    elif ranked:
        cells = [
            (row["instrument"], STATES[row["state"]], _time(row, times), _next(row, times))
            for row in ranked
        ]
        lines += [*in_columns(cells), ""]
    told = [finding for row in ranked for finding in row["findings"]]
    lines += [] if why else findings(told, times, 0)
    return "\n".join([*lines, *_last(answer, rows)])


def _last(answer: LogbookAnswer, rows: Sequence[Mapping[str, Any]]) -> list[str]:
    whole = answer.summary["instruments"]
    lines = [paragraph(sentence(answer.summary["sentence"]), 0)]
    if len(rows) != whole:
        lines.append(f"Shown are {len(rows)} of {counted(whole, 'instrument', 'instruments')}.")
    if names := in_use(rows):
        said = "Must not be used, and no entry takes them out of service: "
        lines.append(paragraph(f"{said}{', '.join(names)}.", 0))
    return lines


def _time(row: Mapping[str, Any], times: LocalTimes) -> str:
    if row["usable"]:
        return f"until {times.short(row['until'], 'an entry ends it')}"
    return f"since {times.short(row['since'], 'the beginning')}"


def _next(row: Mapping[str, Any], times: LocalTimes) -> str:
    return sentence(times.told(row["next_step"]["sentence"]))


def _whole(row: Mapping[str, Any], times: LocalTimes) -> list[str]:
    """All that is said of one instrument, each reason once."""
    since = f"since {times.short(row['since'], 'the beginning')}"
    until = f"until {times.short(row['until'], 'an entry ends it')}" if row["usable"] else ""
    out = f"taken out by {row['taken_out']}" if row["taken_out"] is not None else ""
    line = "   ".join(part for part in (STATES[row["state"]], since, until, out) if part)
    lines = [f"{row['instrument']}  {line}"]
    lines.append(paragraph(f"next: {times.told(row['next_step']['sentence'])}", 2, hanging=6))
    lines += in_columns([(kind["check"], *_kind(kind, times)) for kind in row["checks"]], 2)
    lines.append("  because")
    already: set[Any] = set()
    lines += reasons(row["because"], times, 4, already)
    lines += reasons(row["next_step"]["because"], times, 4, already)
    return lines + findings(row["findings"], times, 2)


def _kind(kind: Mapping[str, Any], times: LocalTimes) -> tuple[str, str, str]:
    word = _KINDS[kind["state"]] + ("" if kind["required"] else " (not required)")
    since = f"since {times.short(kind['since'], 'the beginning')}"
    due = ""
    if kind["overdue_at"] is not None:
        due = f"due {times.short(kind['due_at'])}, overdue after {times.short(kind['overdue_at'])}"
    return word, since, due
