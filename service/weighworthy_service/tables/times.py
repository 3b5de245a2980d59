"""Cells that hold dates and times, into RFC 3339 texts with the offset to UTC.

A format is stated, never guessed: 3/4/2026 is two days. It is compiled once; what a cell says is
kept by its text, for dates come again and again.
"""

from collections.abc import Callable, Sequence
from datetime import date, timedelta
from decimal import Decimal
from functools import lru_cache
from typing import Final
from zoneinfo import ZoneInfo

from weighworthy_service.metrology.quantity import EXACT
from weighworthy_service.tables.cells import Cell, CellFault, NumberCell, TimeCell
from weighworthy_service.tables.formats import (
    EXCEL_EPOCHS,
    ISO,
    Moment,
    Reader,
    compiled,
    date_and_time,
)
from weighworthy_service.tables.numbers import Marks, decimals
from weighworthy_service.tables.written import written
from weighworthy_service.tables.zones import placing, through_day

_KEPT: Final = 8192
_LONGEST: Final = 100
_DAY: Final = Decimal(24 * 60 * 60 * 1000)
# What workbooks hold for the day of a mere time of day.
_NO_DAYS: Final = (None, date(1899, 12, 30), date(1899, 12, 31), date(1904, 1, 1))
# In a workbook's time: it may be midnight, or a day without a time.
_MIDNIGHT: Final = "T00:00"
_LAST_SERIAL: Final = 2_958_466


def moments(
    formats: Sequence[str],
    zone: ZoneInfo | None,
    marks: Marks,
    columns: int = 1,
) -> Callable[..., str | None]:
    """A reader of a moment in one cell, or of its date and its time in two.

    Args:
        formats: with the directives of `formats.DIRECTIVES`, or "excel", "excel-1904" for serial
            numbers. ISO 8601 is taken besides. With two columns, the part of a format before its
            blank is for the date and the part behind it for the time.
        zone: where cells without an offset were written.
        columns: 1 or 2, the number of cells that the reader is called with.

    The reader raises `CellFault`.

    Raises:
        ValueError: a format cannot be understood; the message says why.
    """
    place = placing(zone)
    if columns == 1:
        read, halved = _kept(formats, marks), _halved(formats, zone)

        def one(cell: Cell) -> str | None:
            text = cell.text if isinstance(cell, TimeCell) else cell
            if isinstance(text, str) and (text is cell or _MIDNIGHT not in text):
                found = halved(text)
                if found is not None:
                    return found
            moment = read(cell)
            if moment is None:
                return None
            if text is not cell and moment.time == "00:00:00":
                # A workbook holds a day without a time as its midnight.
                raise CellFault(
                    "time-missing",
                    "the cell holds a date without a time of day, or midnight, which a workbook "
                    "cannot tell from that",
                )
            return place(moment)

        return one
    halves = [date_and_time(text) for text in formats]
    read_date = _kept([half[0] for half in halves], marks)
    read_time = _kept([half[1] for half in halves], marks, clock=True)

    def two(date_cell: Cell, time_cell: Cell) -> str | None:
        day, clock = read_date(date_cell), read_time(time_cell)
        if day is None and clock is None:
            return None
        if day is None or day.day is None:
            raise CellFault("date-missing", "the cell of the date is empty or holds none")
        if day.time is not None and day.time != "00:00:00":
            raise CellFault("malformed-time", "the cell of the date holds a time of day, too")
        if clock is None or clock.time is None:
            raise CellFault("time-missing", "the cell of the time is empty or holds none")
        if clock.day not in _NO_DAYS and clock.day != day.day:
            raise CellFault("date-differs", "the cell of the time holds another date")
        return place(Moment(day.day, clock.time, clock.offset))

    return two


def days(formats: Sequence[str], marks: Marks) -> Callable[[Cell], str | None]:
    """A reader of calendar dates, `YYYY-MM-DD`. Midnight beside a date, as workbooks have it, is
    no time of day; any other time is refused, for it would be lost.

    Raises:
        ValueError: a format cannot be understood.
    """
    read = _kept(formats, marks)

    def one(cell: Cell) -> str | None:
        moment = read(cell)
        if moment is None:
            return None
        if moment.day is None or moment.time not in (None, "00:00:00"):
            raise CellFault("malformed-date", "a date without a time of day is needed")
        return moment.day.isoformat()

    return one


def _halved(formats: Sequence[str], zone: ZoneInfo | None) -> Callable[[str], str | None]:
    """Reads date and time of a cell apart, and keeps both: there are fewer of either than of
    moments. None where the cell has to be read as a whole; never anything else than that gives."""
    if len(formats) > 1 or any(text in EXCEL_EPOCHS for text in formats):
        return lambda _: None
    try:
        date_format, time_format = date_and_time(formats[0]) if formats else (ISO, ISO)
    except ValueError:
        return lambda _: None
    between = " " if formats else "T"
    of_date, of_time = compiled(date_format), compiled(time_format)

    @lru_cache(maxsize=_KEPT)
    def dated(text: str) -> tuple[str, str | None] | None:
        """A date as it is written out, and the offset that holds through it."""
        moment = _if_any(of_date, text)
        if moment is None or moment.day is None or moment.time is not None:
            return None
        day = moment.day
        return f"{day.isoformat()}T", None if zone is None else through_day(zone, day)

    @lru_cache(maxsize=_KEPT)
    def clocked(text: str) -> tuple[str, str | None] | None:
        """A time as it is written out, and its own offset."""
        moment = _if_any(of_time, text)
        if moment is None or moment.time is None or moment.day is not None:
            return None
        return moment.time, moment.offset

    def read(cell: str) -> str | None:
        left, _, right = cell.partition(between)
        if not right or len(cell) > _LONGEST:
            return None
        day, clock = dated(left), clocked(right)
        if day is None or clock is None:
            return None
        offset = clock[1] or day[1]
        return None if offset is None else f"{day[0]}{clock[0]}{offset}"

    return read


def _if_any(pattern: Reader, text: str) -> Moment | None:
    try:
        return pattern(text)
    except ValueError:
        return None


def _kept(
    formats: Sequence[str], marks: Marks, *, clock: bool = False
) -> Callable[[Cell], Moment | None]:
    """Reads a cell by the formats; the last few thousand readings are kept by the cell."""
    patterns = [compiled(text) for text in formats if text not in EXCEL_EPOCHS]
    if not any(text.startswith("%Y-%d") for text in formats):
        patterns.append(compiled(ISO))
    excel = next((text for text in formats if text in EXCEL_EPOCHS), None)
    number = decimals(marks)
    listed = ", ".join((*formats, "ISO 8601"))

    def from_serial(cell: Cell) -> Moment | None:
        serial = number(cell)
        return None if serial is None or excel is None else _from_serial(serial, excel, clock)

    @lru_cache(maxsize=_KEPT)
    def read(cell: Cell) -> Moment | None:
        if isinstance(cell, str) and len(cell) > _LONGEST:
            raise CellFault("malformed-time", f"{cell[:40]!r} is too long for a time")
        if isinstance(cell, NumberCell):
            if excel is None:
                raise CellFault(
                    "malformed-time",
                    f"{cell.text} is a bare number; if it is a date of a spreadsheet, "
                    'state the format "excel" or "excel-1904"',
                )
            return from_serial(cell)
        text = written(cell, marks.missing)
        if text is None:
            return None
        moment = _by_patterns(text, patterns)
        if moment is not None:
            return moment
        if excel is not None:
            return from_serial(cell)
        raise CellFault("malformed-time", f"{text[:40]!r} does not fit the format: {listed}")

    return read


def _by_patterns(text: str, patterns: Sequence[Reader]) -> Moment | None:
    """None: the text has the shape of no format."""
    found: list[Moment] = []
    shaped = False
    for pattern in patterns:
        try:
            moment = pattern(text)
        except ValueError:
            shaped = True
        else:
            if moment is not None and moment not in found:
                found.append(moment)
    if len(found) > 1:
        raise CellFault(
            "time-ambiguous", f"{text!r} means different times by the formats of the mapping"
        )
    if shaped and not found:
        raise CellFault("malformed-date", f"{text!r}: there is no such day or time")
    return found[0] if found else None


def _from_serial(serial: Decimal, system: str, clock: bool) -> Moment:
    """Days since the epoch of a spreadsheet program; fractions to the millisecond.

    In the 1900 system the days up to 60 are one too many, since it holds a 29 February 1900 that
    never was (ECMA-376 part 1, 18.17.4.1, from memory). A whole number is a day without a time,
    except in a column of times (`clock`), where only a fraction is no day.
    """
    if not 0 <= serial < _LAST_SERIAL:
        raise CellFault("malformed-date", f"{serial} is no day of a spreadsheet")
    whole, rest = divmod(round(EXACT.multiply(serial, _DAY)), int(_DAY))
    minutes, milliseconds = divmod(rest, 60_000)
    shown = f"{minutes // 60:02}:{minutes % 60:02}:{milliseconds // 1000:02}"
    if milliseconds % 1000:
        shown += f".{milliseconds % 1000:03}"
    time_of_day = shown if rest or clock else None
    if not whole and time_of_day:
        return Moment(None, time_of_day)
    if system == "excel" and whole < 61:
        raise CellFault("malformed-date", f"{serial} lies before March 1900; no day is sure there")
    return Moment(EXCEL_EPOCHS[system] + timedelta(days=whole), time_of_day)
