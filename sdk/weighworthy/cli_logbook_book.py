"""The logbook that a command is about: its file, what options say beside it, and its faults."""

import argparse
import re
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, contextmanager, nullcontext
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any, TypeVar
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from weighworthy.cli_common import UsageError, asking, connect, read_document, tell
from weighworthy.cli_evaluate import file_faults
from weighworthy.cli_logbook_table import faults_of_table
from weighworthy.cli_profile_arguments import profile_argument
from weighworthy.cli_tables import READING, reading, table_file
from weighworthy.errors import FieldError, Invalid, MalformedJson
from weighworthy.logbook import LogbookAnswer
from weighworthy.logbook_files import Line, OpenBook, book_of_lines, open_book, read_results

_T = TypeVar("_T")
_LINE = re.compile(r"^line ([0-9]+): ")
_ENTRY = re.compile(r"/entries/([0-9]+)")
_HINTS = {
    "/calendar": "`--calendar FILE` states it",
    "/profile": "`--profile FILE` states it",
    "/results": "`--results FILE` states them",
}


def answered(arguments: argparse.Namespace, call: str, options: Mapping[str, Any]) -> LogbookAnswer:
    """What the service says of the logbook. Raises `UsageError`, `WeighworthyError`."""
    _refuse_halves(arguments)
    calendar = _calendar(arguments.calendar)
    profile = None if arguments.profile is None else profile_argument(arguments.profile)
    with connect(arguments) as client, file_faults(), _table(arguments.table) as table, asking():
        blank: list[int] = []
        book = opened(arguments.book)
        book = replace(book, entries=_noting(book.entries, blank))
        at = arguments.at
        if at is None and book.head.get("at") is None:
            at = _now(calendar or book.head.get("calendar"))
        with faults_of_table(arguments.table, arguments.mapping), _faults_of(book, blank):
            answer: LogbookAnswer = getattr(client.logbook, call)(
                book,
                table=table,
                mapping=arguments.mapping,
                sheet=arguments.sheet,
                reading=reading(arguments) or None,
                at=at,
                profile=profile,
                calendar=calendar,
                **options,
            )
    for note in answer.notes:
        tell(arguments, f"note: {note}")
    return answer


def _refuse_halves(arguments: argparse.Namespace) -> None:
    book, table, mapping = arguments.book, arguments.table, arguments.mapping
    if book is None and table is None:
        raise UsageError("what is asked about is missing: BOOK, --table with --mapping, or both")
    if table is None and mapping is not None:
        raise UsageError("--mapping is for --table, which is missing")
    for name in ("sheet", *READING):
        if table is None and getattr(arguments, name) is not None:
            raise UsageError(f"--{name} is for --table, which is missing")
    if table is not None and mapping is None:
        raise UsageError("--table needs --mapping FILE, which says what its columns mean")
    if book == table == "-":
        raise UsageError("BOOK and --table: only one of them can be standard input")


def _table(name: str | None) -> AbstractContextManager[Path | None]:
    return nullcontext() if name is None else table_file(name)


def opened(name: str | None) -> OpenBook:
    """A logbook in a file, on standard input for ``-``, or an empty one. Raises `UsageError`."""
    if name is None:
        return OpenBook({}, iter(()))
    if name == "-":
        return book_of_lines(iter(sys.stdin.buffer), "standard input")
    return _read(open_book, name)


def results(name: str | None) -> list[dict[str, Any]] | None:
    """Results in a file. Raises `UsageError`."""
    if name is None:
        return None
    with asking():
        return _read(read_results, name)


def _read(read: Callable[[str], _T], name: str) -> _T:
    try:
        return read(name)
    except OSError as error:
        raise UsageError(f"{name}: {error.strerror or error}") from error


def instant_argument(text: str) -> str:
    """A time with its offset to UTC: which one is meant is not guessed."""
    try:
        at = datetime.fromisoformat(text)
        if at.utcoffset() is not None:
            return at.isoformat()
    except ValueError:
        pass
    said = "is no time with its offset to UTC; write it as 2026-03-30T09:00:00+02:00"
    raise argparse.ArgumentTypeError(f"{text!r} {said}")


def chosen(
    arguments: argparse.Namespace, rows: Sequence[Mapping[str, Any]], known: set[str]
) -> Sequence[Mapping[str, Any]]:
    """The rows of the instruments that ``--instrument`` names. Raises `UsageError`."""
    wanted = arguments.instrument
    if wanted is None:
        return rows
    for name in wanted:
        if name not in known:
            among = ", ".join(sorted(known)) or "there is none"
            raise UsageError(f"--instrument: {name!r} is not in the answer ({among})")
    return [
        row
        for row in rows
        if not {row.get("instrument"), *row.get("instruments", ())}.isdisjoint(wanted)
    ]


def _calendar(name: str | None) -> dict[str, Any] | None:
    """The calendar in a file, alone or as its table ``calendar``."""
    if name is None:
        return None
    document = read_document(name)
    calendar = document.get("calendar", document) if isinstance(document, dict) else None
    if not isinstance(calendar, dict) or "time_zone" not in calendar:
        raise UsageError(f"{name}: there is no calendar in it: time_zone, shifts, closed, open")
    return calendar


def _now(calendar: Any) -> str:
    try:
        zone = ZoneInfo(calendar["time_zone"])
    except (TypeError, KeyError, ValueError, OSError, ZoneInfoNotFoundError):
        zone = None  # that of this computer; what is wrong with the calendar the service says
    return datetime.now(zone).astimezone(zone).isoformat(timespec="seconds")


def _noting(lines: Iterator[Line], blank: list[int]) -> Iterator[Line]:
    """Lines as they come, the first being number 2; the numbers of blank ones are noted."""
    for number, line in enumerate(lines, start=2):
        if isinstance(line, bytes) and line.isspace():
            blank.append(number)
        yield line


@contextmanager
def _faults_of(book: OpenBook, blank: list[int]) -> Iterator[None]:
    """What the service says of a place in what was sent, said of the place in the file."""

    def place(entry: re.Match[str]) -> str:
        if not book.numbered:
            return f"{book.name} {entry[0]}"
        line = int(entry[1]) + 2
        for number in blank:
            line += number <= line
        return f"{book.name}:{line}"

    def placed(fault: FieldError) -> FieldError:
        detail = _ENTRY.sub(place, _LINE.sub("", fault.detail))
        entry = _ENTRY.match(fault.pointer)
        if entry is None:
            hint = _HINTS.get(fault.pointer) if fault.code == "required" else None
            return replace(fault, detail=detail if hint is None else f"{detail}; {hint}")
        within = fault.pointer[entry.end() :]
        return replace(fault, pointer=f"{place(entry)} {within}".rstrip(), detail=detail)

    try:
        yield
    except MalformedJson as error:
        if not (found := _LINE.match(error.detail)) or not book.numbered:
            raise
        where, said = f"{book.name}:{found[1]}", error.detail[found.end() :]
        raise UsageError(f"{where}: not JSON: {said}") from error
    except Invalid as error:
        status, kind, title, _, faults, *others = error.args
        told = tuple(placed(fault) for fault in faults)
        raise Invalid(status, kind, title, "", told, *others) from error
