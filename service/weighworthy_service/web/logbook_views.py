"""The addresses of the logbook: read, conclude, answer. Nothing is decided here."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from functools import partial
from typing import Any, Final

from flask import Response, request

from weighworthy_service.checks.flaws import SenseError
from weighworthy_service.logbook.book import Book, balances_of, calendar_of, results_of
from weighworthy_service.logbook.calendar import Calendar
from weighworthy_service.logbook.entries import Entry, Result
from weighworthy_service.logbook.ordering import Sorted, in_order
from weighworthy_service.logbook.reading import EntryReader
from weighworthy_service.logbook.site_drift import site_drift
from weighworthy_service.logbook.site_intervals import site_intervals
from weighworthy_service.logbook.site_signals import site_signals
from weighworthy_service.logbook.site_status import site_status, summary_of
from weighworthy_service.logbook.site_support import site_support
from weighworthy_service.logbook.telling import told_book
from weighworthy_service.profiles.judging import judge
from weighworthy_service.profiles.refusal import from_flaws, refusal_of
from weighworthy_service.profiles.store import ProfileSet
from weighworthy_service.tables.finder import AtHand
from weighworthy_service.web.addresses import Known, Views
from weighworthy_service.web.asking import asked_profile, best_type, loaded
from weighworthy_service.web.batch_read_as import READ_AS, read_as_header
from weighworthy_service.web.logbook_body import LogbookBody, read_logbook
from weighworthy_service.web.page_asked import HTML, LANGUAGE, PAGED
from weighworthy_service.web.room import heavy
from weighworthy_service.web.views import ENGINE, JSON_TYPE, json_response
from weighworthy_service.wire.coded import MAX_ERRORS
from weighworthy_service.wire.form import Form
from weighworthy_service.wire.logbook import LogbookForm
from weighworthy_service.wire.logbook_drift import USUAL_BASELINE, USUAL_RULES, DriftLogbookForm
from weighworthy_service.wire.logbook_intervals import USUAL_RELIABILITY, IntervalsLogbookForm
from weighworthy_service.wire.logbook_signals import USUAL_DUE_WITHIN, SignalsLogbookForm

# Query parameters that go with a table.
_WITH_TABLE: Final[Mapping[str, None]] = {"mapping": None}


@dataclass(frozen=True, slots=True)
class Asked:
    """A logbook with everything read but its entries, which come in order."""

    stated: dict[str, Any]
    book: Book
    calendar: Calendar | None
    results: tuple[Result, ...]
    entries: Iterable[Entry]


Conclude = Callable[[Asked], dict[str, Any]]


def views(known: Known) -> Views:
    """The addresses of the logbook."""
    read = partial(read_logbook, mappings=known.mappings, limits=known.limits)
    return {
        f"logbook_{name}": _view(name, form, conclude, known.profiles, read)
        for name, form, conclude in _CONCLUSIONS
    }


def _view(
    name: str,
    form: Form,
    conclude: Conclude,
    profiles: ProfileSet,
    read: Callable[..., LogbookBody],
) -> Callable[[], Response]:
    @heavy
    def answer() -> Response:
        types = (JSON_TYPE, HTML) if name in PAGED else (JSON_TYPE,)
        on_paper = best_type(types) == HTML
        with ExitStack() as stack, _told_as_refusals():
            body = read(request, stack=stack)
            told = conclude(_asked(body, form, profiles, LANGUAGE if len(types) > 1 else {}))
            response = _drawn(name, told) if on_paper else json_response(told)
            if body.read_as is not None:
                response.headers[READ_AS] = read_as_header(body.read_as)
            return response

    return answer


def _drawn(name: str, told: Mapping[str, Any]) -> Response:
    from weighworthy_service.web.report_answers import OF_LOGBOOK  # noqa: PLC0415

    return OF_LOGBOOK[name](told)


@contextmanager
def _told_as_refusals() -> Iterator[None]:
    try:
        yield
    except SenseError as error:
        raise refusal_of("invalid", from_flaws(error.flaws)[:MAX_ERRORS]) from None


def _asked(
    body: LogbookBody, form: Form, profiles: ProfileSet, more: Mapping[str, Sequence[str] | None]
) -> Asked:
    with_table = _WITH_TABLE if body.read_as is not None else {}
    stated = loaded(form, body.head, {**with_table, **more})
    at = stated["at"]
    profile = asked_profile(stated, profiles, at.date())
    reference = stated.get("profile")
    if stated.get("profile_toml") is not None:
        reference = dict(profile.document)
    find = AtHand(profiles).find
    reader = EntryReader(
        lambda kind, document: judge(kind, document, find), profile.use_on, reference
    )
    listed = balances_of(stated.get("instruments") or ())
    book = Book(at, profile, listed, reader, stated.get("only_instruments"))
    read = book.entries(body.entries)
    return Asked(
        stated,
        book,
        calendar_of(stated.get("calendar")),
        results_of(stated.get("results") or (), listed),
        Sorted(read) if stated.get("sorted") else in_order(read),
    )


def _status(asked: Asked) -> dict[str, Any]:
    instruments, used = site_status(asked.book, asked.entries, asked.calendar)
    return {
        **told_book(asked.book, ENGINE, used),
        "summary": summary_of(instruments),
        "instruments": instruments,
    }


def _support(asked: Asked) -> dict[str, Any]:
    told, used = site_support(asked.book, asked.entries, asked.results, asked.calendar)
    return {**told_book(asked.book, ENGINE, used), **told}


def _drift(asked: Asked) -> dict[str, Any]:
    rules = asked.stated.get("run_rules") or USUAL_RULES
    baseline = asked.stated.get("baseline") or USUAL_BASELINE
    told, used = site_drift(asked.book, asked.entries, tuple(dict.fromkeys(rules)), baseline)
    return {**told_book(asked.book, ENGINE, used), **told}


def _intervals(asked: Asked) -> dict[str, Any]:
    wanted = asked.stated.get("reliability") or USUAL_RELIABILITY
    told, used = site_intervals(asked.book, asked.entries, float(wanted) / 100)
    return {**told_book(asked.book, ENGINE, used), **told}


def _signals(asked: Asked) -> dict[str, Any]:
    within = asked.stated.get("due_within")
    within = USUAL_DUE_WITHIN if within is None else within
    told, used = site_signals(asked.book, asked.entries, within)
    return {**told_book(asked.book, ENGINE, used), **told}


_CONCLUSIONS: Final[tuple[tuple[str, Form, Conclude], ...]] = (
    ("status", LogbookForm(), _status),
    ("support", LogbookForm(), _support),
    ("drift", DriftLogbookForm(), _drift),
    ("intervals", IntervalsLogbookForm(), _intervals),
    ("signals", SignalsLogbookForm(), _signals),
)
