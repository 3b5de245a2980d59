"""What a client asks of the service about logbooks: may balances be used, what is in doubt, drift.

A logbook is given as its entries, or as a file: one JSON document that holds everything, or lines:
the document without its entries first, then an entry a line. What a call says beside it comes
before what the file says. Checks may be the rows of a table instead.
"""

import json
import os
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from tempfile import SpooledTemporaryFile
from typing import Any, TypeAlias

from weighworthy.batches import Sender, post_to
from weighworthy.inputs import Instant
from weighworthy.logbook_files import Line, OpenBook, open_book, read_results
from weighworthy.logbook_table import document_with_entries, table_batch
from weighworthy.mapping_files import MappingLike
from weighworthy.profiles import ProfileLike, as_sent
from weighworthy.replies import json_of
from weighworthy.results import frozen
from weighworthy.site import Site, merged
from weighworthy.values import plain

Entries: TypeAlias = str | os.PathLike[str] | OpenBook | Iterable[Mapping[str, Any]]
Instruments: TypeAlias = Sequence[Mapping[str, Any] | str]
File: TypeAlias = str | os.PathLike[str]

NDJSON = "application/x-ndjson"
# What is larger waits in a file.
_IN_MEMORY = 16 * 1024 * 1024


@dataclass(frozen=True, slots=True)
class LogbookAnswer:
    """An answer about a logbook; fields as in the JSON document, numbers as `decimal.Decimal`.

    ``data`` is the whole document, read-only; ``raw`` its bytes, to be stored. ``time_zone`` is
    that of the calendar that was sent; ``notes`` are remarks for people on a table.
    """

    at: str
    summary: Mapping[str, Any]
    data: Mapping[str, Any] = field(repr=False)
    raw: bytes = field(repr=False)
    request_id: str | None = field(default=None, repr=False, compare=False)
    time_zone: str | None = field(default=None, repr=False, compare=False)
    notes: tuple[str, ...] = field(default=(), repr=False, compare=False)

    @property
    def instruments(self) -> Sequence[Mapping[str, Any]]:
        """One for each instrument; empty in answers that have none."""
        return self.data.get("instruments") or ()

    @property
    def results(self) -> Sequence[Mapping[str, Any]]:
        """One for each result; empty in answers that have none."""
        return self.data.get("results") or ()


@dataclass(frozen=True, slots=True)
class Logbook:
    """The calls about logbooks, reached as ``client.logbook``; errors as `Client.evaluate`.

    ``book``         entries, each a mapping with ``id``, ``kind``, ``at``, ``instrument``, or a
                     file; a check has its ``request``, judged anew, or its earlier ``answer``
    ``table``        an export whose rows are checks, CSV or a workbook; ``book`` then has the other
                     entries, if there are any
    ``mapping``      which column of the table feeds which field: a file or a document
    ``reading``      ``encoding``, ``delimiter``, ``decimal`` or other statements of the mapping's
                     ``table``, in place of its own; so ``sheet``, of a workbook
    ``at``           the moment that is asked about: entries after it are left out
    ``profile``      says which checks are required, and judges requests that name none
    ``instruments``  those of the site where neither call nor file has any
    ``calendar``     working time: ``time_zone``, ``shifts``, ``closed``, ``open``
    ``in_order``     entries come in order of time: then the service passes over them once

    Requests are completed from the site as in `Client.evaluate`, a mapping as in
    `Client.evaluate_table`. Files raise ``OSError``, and ``ValueError`` naming the line. A row that
    is no check is a fault of the logbook: `Invalid`, naming the row.
    """

    _send: Sender
    _site: Site

    def status(
        self,
        book: Entries | None = None,
        *,
        table: File | None = None,
        mapping: MappingLike | None = None,
        sheet: str | None = None,
        reading: Mapping[str, str] | None = None,
        at: Instant | None = None,
        profile: ProfileLike | None = None,
        instruments: Instruments | None = None,
        calendar: Mapping[str, Any] | None = None,
        in_order: bool | None = None,
    ) -> LogbookAnswer:
        """May the instruments be used, since when, until when, why, and what is next."""
        return self._ask("status", locals())

    def support(
        self,
        book: Entries | None = None,
        *,
        table: File | None = None,
        mapping: MappingLike | None = None,
        sheet: str | None = None,
        reading: Mapping[str, str] | None = None,
        results: str | os.PathLike[str] | Iterable[Mapping[str, Any]] | None = None,
        at: Instant | None = None,
        profile: ProfileLike | None = None,
        instruments: Instruments | None = None,
        calendar: Mapping[str, Any] | None = None,
        in_order: bool | None = None,
    ) -> LogbookAnswer:
        """Are moisture results supported by the checks before and after them; if not, why, and
        what the error that was found may have done to them.

        ``results``: mappings with ``id``, ``instrument``, ``at``, … or a file with one a line;
        absent: those of the logbook's file.
        """
        return self._ask("support", {**locals(), "results": _results(results)})

    def drift(
        self,
        book: Entries | None = None,
        *,
        table: File | None = None,
        mapping: MappingLike | None = None,
        sheet: str | None = None,
        reading: Mapping[str, str] | None = None,
        run_rules: Sequence[int] | None = None,
        baseline: int | None = None,
        at: Instant | None = None,
        profile: ProfileLike | None = None,
        instruments: Instruments | None = None,
        calendar: Mapping[str, Any] | None = None,
        in_order: bool | None = None,
    ) -> LogbookAnswer:
        """How errors as found move, series by series: ``answer.data["series"]``.

        ``run_rules``: numbers of Nelson's eight; ``baseline``: first points that control limits
        rest on.
        """
        return self._ask("drift", locals())

    def intervals(
        self,
        book: Entries | None = None,
        *,
        table: File | None = None,
        mapping: MappingLike | None = None,
        sheet: str | None = None,
        reading: Mapping[str, str] | None = None,
        reliability: str | None = None,
        at: Instant | None = None,
        profile: ProfileLike | None = None,
        instruments: Instruments | None = None,
        calendar: Mapping[str, Any] | None = None,
        in_order: bool | None = None,
    ) -> LogbookAnswer:
        """Are checks done too often, or not often enough: ``answer.data["intervals"]``, and
        ``["together"]`` for balances that are alike.

        ``reliability``: wanted share in tolerance at the end of an interval, like ``"95 %"``.
        """
        return self._ask("intervals", locals())

    def signals(
        self,
        book: Entries | None = None,
        *,
        table: File | None = None,
        mapping: MappingLike | None = None,
        sheet: str | None = None,
        reading: Mapping[str, str] | None = None,
        due_within: int | None = None,
        at: Instant | None = None,
        profile: ProfileLike | None = None,
        instruments: Instruments | None = None,
        calendar: Mapping[str, Any] | None = None,
        in_order: bool | None = None,
    ) -> LogbookAnswer:
        """What only several balances or many checks together show; the summary has a sentence for
        each that stands out.

        ``due_within``: days before its due date from which a weight is told.
        """
        return self._ask("signals", locals())

    def _ask(self, name: str, arguments: Mapping[str, Any]) -> LogbookAnswer:
        book, table, mapping = (arguments[name] for name in ("book", "table", "mapping"))
        if book is None and table is None:
            raise ValueError("a logbook needs its entries, a table, or both")
        stated = {**(arguments["reading"] or {}), "sheet": arguments["sheet"]}
        if table is None:
            _refuse_without_table(arguments)
        opened = _opened(() if book is None else book)
        head, path = opened.head, f"/v1/logbook/{name}"
        notes: tuple[str, ...] = ()
        if table is None:
            document = self._completed(head, arguments)
            raw, request_id = self._send_lines(path, document, opened)
        else:
            # A file in order of time is in none any more with a table behind it.
            head = {name: value for name, value in head.items() if name != "sorted"}
            document = self._completed(head, arguments)
            whole = document_with_entries(document, opened, self._entry)
            with table_batch(table, mapping, whole, self._site, stated) as (batch, notes):
                raw, request_id = post_to(self._send, path, batch, _whole)
        data = json_of(raw, request_id)
        calendar = document.get("calendar")
        return LogbookAnswer(
            data["at"],
            frozen(data.get("summary") or {}),
            frozen(data),
            raw,
            request_id,
            calendar.get("time_zone") if isinstance(calendar, dict) else None,
            notes,
        )

    def _send_lines(
        self, path: str, document: Mapping[str, Any], opened: OpenBook
    ) -> tuple[bytes, str | None]:
        with SpooledTemporaryFile(_IN_MEMORY) as spool:
            spool.write(_line(document))
            for line in opened.entries:
                spool.write(self._entry(line))
            length = spool.tell()

            def body() -> Any:
                spool.seek(0)
                return spool

            headers = {
                "Accept": "application/json",
                "Content-Type": NDJSON,
                "Content-Length": str(length),
            }
            return self._send(path, body, headers, _whole)

    def _completed(self, head: Mapping[str, Any], arguments: Mapping[str, Any]) -> dict[str, Any]:
        stated = {
            name: plain(value, name, counts=name != "results")
            for name, value in arguments.items()
            if name not in _NOT_SENT and value is not None
        }
        if "in_order" in stated:
            stated["sorted"] = stated.pop("in_order")
        document: dict[str, Any] = {**head, **stated}
        profile = arguments.get("profile")
        if profile is None and not {"profile", "profile_toml"} & head.keys():
            profile = self._site.profile
        if profile is not None:
            document.pop("profile", None)
            document |= as_sent(profile)
        if not document.get("instruments") and self._site.instruments:
            document["instruments"] = list(self._site.instruments.values())
        elif document.get("instruments"):
            document["instruments"] = [self._instrument(one) for one in document["instruments"]]
        if not document.get("calendar") and self._site.time_zone:
            document["calendar"] = {"time_zone": self._site.time_zone}
        return document

    def _instrument(self, one: Any) -> Any:
        if not isinstance(one, str):
            return one
        if one not in self._site.instruments:
            known = ", ".join(sorted(self._site.instruments)) or "none"
            raise ValueError(f"instrument {one!r} is not in the site's instruments ({known})")
        return self._site.instruments[one]

    def _entry(self, line: Line) -> bytes:
        if isinstance(line, bytes):
            if not self._site.weights and not self._site.instruments:
                return line if line.endswith(b"\n") else line + b"\n"
            try:
                entry = json.loads(line)
            except (ValueError, RecursionError):
                return line.rstrip(b"\n") + b"\n"  # the service says what is wrong, and where
        else:
            entry = plain(line, f"entry {line.get('id')}", counts=True)
        if isinstance(entry, dict) and isinstance(entry.get("request"), dict):
            entry = {**entry, "request": merged(entry["request"], self._site)}
        return _line(entry)


_NOT_SENT = ("self", "book", "table", "mapping", "sheet", "reading", "profile")


def _refuse_without_table(arguments: Mapping[str, Any]) -> None:
    for name, said in (
        ("mapping", "a mapping"),
        ("sheet", "`sheet`"),
        ("reading", "`reading`"),
    ):
        if arguments[name] is not None:
            raise ValueError(f"{said} is for a table, and there is none")


def _whole(headers: Mapping[str, str], pieces: Iterator[bytes]) -> tuple[bytes, str | None]:
    return b"".join(pieces), headers.get("x-request-id")


def _line(document: Any) -> bytes:
    return json.dumps(document, ensure_ascii=False, allow_nan=False).encode() + b"\n"


def _opened(book: Entries) -> OpenBook:
    if isinstance(book, OpenBook):
        return book
    if isinstance(book, str | os.PathLike):
        return open_book(book)
    return OpenBook({}, iter(book))


def _results(
    results: str | os.PathLike[str] | Iterable[Mapping[str, Any]] | None,
) -> list[Mapping[str, Any]] | None:
    if isinstance(results, str | os.PathLike):
        return list(read_results(results))
    return None if results is None else list(results)
