"""How the commands about logbooks say things: states in word and shape, local times, sentences."""

import re
import shutil
import textwrap
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from weighworthy.cli_common import counted
from weighworthy.logbook import LogbookAnswer

# Round is usable, square is not; a filled square is worse than an outlined one.
STATES = {
    "in-service": "● in service",
    "check-needed": "□ check needed",
    "out-of-service": "■ out of service",
}
NEEDS = {
    "nothing": "● nothing needed",
    "assessment": "□ assessment needed",
    "action": "■ action needed",
}
_DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_INSTANT = re.compile(
    r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}(?::[0-9]{2}(?:\.[0-9]+)?)?"
    r"(?:Z|[+-][0-9]{2}:[0-9]{2})"
)
_NARROWEST, _USUAL, _WIDEST = 60, 100, 140


def columns() -> int:
    """As wide as the terminal is, within reason; 100 where there is none."""
    width = shutil.get_terminal_size((_USUAL, 24)).columns
    return min(max(width, _NARROWEST), _WIDEST)


@dataclass(frozen=True, slots=True)
class LocalTimes:
    """Instants as a laboratory writes them; those of another year than that of ``now`` with it."""

    now: datetime
    zone: tzinfo
    name: str

    def short(self, instant: str | None, nothing: str = "–") -> str:
        """``Mon 30 Mar 10:00``."""
        if instant is None:
            return nothing
        at = datetime.fromisoformat(instant).astimezone(self.zone)
        year = "" if at.year == self.now.year else f" {at.year}"
        clock = f"{at:%H:%M:%S}" if at.second else f"{at:%H:%M}"
        # When clocks are put back an hour passes twice.
        twice = at.replace(fold=0).utcoffset() != at.replace(fold=1).utcoffset()
        offset = f" {at.isoformat()[-6:]}" if twice else ""
        return f"{_DAYS[at.weekday()]} {at.day} {_MONTHS[at.month - 1]}{year} {clock}{offset}"

    def day(self, instant: str | None, nothing: str = "–") -> str:
        """``30 Mar 2026``, for what is not known to the minute."""
        if instant is None:
            return nothing
        at = datetime.fromisoformat(instant).astimezone(self.zone)
        return f"{at.day} {_MONTHS[at.month - 1]} {at.year}"

    def told(self, sentence: str) -> str:
        """A sentence of the service, its instants as `short`."""
        return _INSTANT.sub(lambda found: self.short(found[0]), sentence)


def local_times(answer: LogbookAnswer) -> LocalTimes:
    """Times of the calendar's zone; without one, at the offset of the moment that was asked."""
    now = datetime.fromisoformat(answer.at)
    try:
        if answer.time_zone is not None:
            zone = ZoneInfo(answer.time_zone)
            return LocalTimes(now.astimezone(zone), zone, answer.time_zone)
    except (ValueError, OSError, ZoneInfoNotFoundError):
        pass  # this computer has no table of time zones
    return LocalTimes(now, now.tzinfo or UTC, f"{now.isoformat()[-6:]}")


def heading(answer: LogbookAnswer, times: LocalTimes) -> str:
    """The moment, the profile, and what was read."""
    profile, entries = answer.data["profile"], answer.data["entries"]
    parts = [
        f"{_DAYS[times.now.weekday()]} {times.day(answer.at)} {times.now:%H:%M} ({times.name})",
        f"{profile['id']}@{profile['revision']}",
        counted(entries["used"], "entry", "entries"),
    ]
    if entries["later"]:
        parts.append(f"{entries['later']} later, left out")
    lines = [parts[0]]
    for part in parts[1:]:
        fits = len(lines[-1]) + 3 + len(part) <= columns()
        lines[-1:] = [f"{lines[-1]}   {part}"] if fits else [lines[-1], part]
    return "\n".join(lines)


def paragraph(text: str, indent: int, *, hanging: int = 0) -> str:
    """A text within the columns, no word broken."""
    return textwrap.fill(
        text,
        columns(),
        initial_indent=" " * indent,
        subsequent_indent=" " * (indent + hanging),
        break_long_words=False,
        break_on_hyphens=False,
    )


def sentence(text: str) -> str:
    """With a capital letter and a full stop."""
    return text[:1].upper() + text[1:] + ("" if text.endswith((".", "!", "?")) else ".")


def reasons(
    because: Iterable[Mapping[str, Any]], times: LocalTimes, indent: int, already: set[Any]
) -> list[str]:
    """Each reason with its entry or rule, once."""
    lines = []
    for one in because:
        place = " ".join(str(one[name]) for name in ("entry", "rule") if one[name] is not None)
        told = (place, one["sentence"])
        if told not in already:
            already.add(told)
            lines.append(paragraph(f"{place}: {times.told(one['sentence'])}", indent, hanging=2))
    return lines


def findings(told: Iterable[Mapping[str, Any]], times: LocalTimes, indent: int) -> list[str]:
    """Each with its severity and code, once."""
    sentences = dict.fromkeys(
        f"{one['severity']}: {times.told(one['message'])} [{one['code']}]" for one in told
    )
    return [paragraph(text, indent, hanging=2) for text in sentences]


def in_columns(rows: Sequence[Sequence[str]], indent: int = 0) -> list[str]:
    """Cells in line, two blanks between; a last cell that has not enough room goes below."""
    if not rows:
        return []
    *widths, _ = (max(map(len, cells)) for cells in zip(*rows, strict=True))
    begin = indent + sum(widths) + 2 * len(widths)
    beside = columns() - begin >= _ROOM
    lines = []
    for *cells, last in rows:
        front = " " * indent + "".join(
            f"{cell:<{width}}  " for cell, width in zip(cells, widths, strict=True)
        )
        if not last:
            lines.append(front.rstrip())
        elif beside or len(front) + len(last) <= columns():
            lines.append(front + paragraph(last, begin).lstrip())
        else:
            lines += [front.rstrip(), paragraph(last, indent + widths[0] + 2)]
    return lines


_ROOM = 44  # columns that a wrapped sentence needs to be read with ease
