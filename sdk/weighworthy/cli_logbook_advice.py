"""Advice on intervals, and what only several balances show, on a terminal."""

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

from weighworthy.cli_logbook_words import (
    LocalTimes,
    heading,
    in_columns,
    paragraph,
    reasons,
    sentence,
)
from weighworthy.logbook import LogbookAnswer

_ADVICE = {
    "longer": "△ longer",
    "keep": "● keep",
    "shorter": "▼ shorter",
    "cannot-tell": "– cannot tell",
}
_LOOKED_AT = (
    ("weights", "moves after weights were changed"),
    ("void_shares", "groups of void checks"),
    ("equal_readings", "series of equal readings"),
    ("due_weights", "weights near or past their due date"),
)
_QUIET = ("no-common-shift", "too-few")


def advised(
    answer: LogbookAnswer, rows: Sequence[Mapping[str, Any]], times: LocalTimes, *, why: bool
) -> str:
    """A line for each kind of check of each instrument, then those of balances that are alike."""
    together = list(answer.data["together"])
    lines = [heading(answer, times), ""]
    for title, some in (("", rows), ("Balances that are alike, taken together", together)):
        if not some:
            continue
        lines += [title] if title else []
        if why:
            for row in some:
                lines.append(paragraph("  ".join(filter(None, _interval(row))), 0, hanging=4))
                lines += [paragraph(text, 4) for text in row["reasons"]]
                lines += reasons(row["because"], times, 6, set())
        else:
            lines += in_columns([_interval(row) for row in some])
        lines.append("")
    wanted = (
        f"Wanted: {_percent(answer.data['reliability'])} in tolerance at the end of an interval."
    )
    return "\n".join([*lines, paragraph(f"{sentence(answer.summary['sentence'])} {wanted}", 0)])


def _interval(row: Mapping[str, Any]) -> tuple[str, ...]:
    names = row["instruments"]
    who = names[0] if len(names) == 1 else f"{len(names)} balances"
    now = "only after events" if row["current"] is None else _span(row["current"])
    proposed, word = row["proposed"], _ADVICE[row["advice"]]
    change = now if proposed in (None, row["current"]) else f"{now} → {_span(proposed)}"
    found = f"{row['trials'] - row['failures']} of {row['trials']} in tolerance"
    share = row["share"]
    told = f"{found}, share ≥ {_percent(share['low'])}" if share and row["trials"] else found
    return who, row["check"], word, change, told


def signalled(answer: LogbookAnswer, times: LocalTimes, *, why: bool) -> str:
    """The sentence of each signal, then what was looked at."""
    lines = [heading(answer, times), ""]
    standing_out = list(answer.summary["sentences"])
    for text in standing_out:
        lines += [paragraph(f"▲ {times.told(text)}", 0, hanging=2), ""]
    rest = [
        one["sentence"]
        for name, _ in _LOOKED_AT
        for one in answer.data[name]
        if one["sentence"] not in standing_out
        and (why or one.get("conclusion", _QUIET[0]) not in _QUIET)
    ]
    for text in rest:
        lines.append(paragraph(f"– {times.told(text)}", 0, hanging=2))
    lines += [""] if rest else []
    lines.append(paragraph(sentence(answer.summary["sentence"]), 0))
    counts = [f"{len(answer.data[name])} {what}" for name, what in _LOOKED_AT if answer.data[name]]
    if counts:
        said = f"Looked at: {', '.join(counts)}. None of this says who or what is at fault."
        lines.append(paragraph(said, 0))
    return "\n".join(lines)


def _span(hours: Decimal) -> str:
    """Hours up to two days, then days."""
    return f"{float(hours):.3g} h" if hours <= _TWO_DAYS else f"{float(hours) / 24:.3g} days"


def _percent(share: Decimal) -> str:
    return f"{float(share) * 100:.3g} %"


_TWO_DAYS = 48
