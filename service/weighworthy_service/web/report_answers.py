"""Answers as pages for people: in which language, with which headers."""

from collections.abc import Iterable, Mapping
from typing import Any, Final

from flask import Response

from weighworthy_service.evidence.reports.batch_page import Told, batch_page
from weighworthy_service.evidence.reports.book_pages import drift_page, status_page
from weighworthy_service.evidence.reports.check_page import check_page
from weighworthy_service.evidence.reports.pages import Page
from weighworthy_service.evidence.reports.sitting_page import sitting_page
from weighworthy_service.profiles.refusal import refusal_of
from weighworthy_service.web.page_asked import HTML, language
from weighworthy_service.wire.coded import FieldError

# Of one report: some hundred pages, and seconds of work.
MOST_POINTS: Final = 10_000
MOST_BALANCES: Final = 1_000
MOST_CRITERIA: Final = 500


def page_response(page: Page) -> Response:
    """A page with the policy that belongs to it."""
    headers = {"Content-Security-Policy": page.policy}
    return Response(page.html, content_type=f"{HTML}; charset=utf-8", headers=headers)


def check_report(answer: Mapping[str, Any], document: Mapping[str, Any]) -> Response:
    """The report of a check that was judged just now from this request."""
    return page_response(check_page(answer, document, language(), "judged"))


def batch_report(lines: Iterable[bytes]) -> Response:
    """The report of a batch, of the lines of its answer."""
    return page_response(batch_page(Told().take(lines), language()))


def sitting_report(answer: Mapping[str, Any], document: Mapping[str, Any]) -> Response:
    """The report of a sitting that was judged just now from this request."""
    return page_response(sitting_page(answer, document, language()))


def status_report(answer: Mapping[str, Any]) -> Response:
    """The report of a logbook's status."""
    refuse_if_too_long(answer, "/only_instruments")
    return page_response(status_page(answer, language()))


def drift_report(answer: Mapping[str, Any]) -> Response:
    """The report of a logbook's drift."""
    refuse_if_too_long(answer, "/only_instruments")
    return page_response(drift_page(answer, language()))


def refuse_if_too_long(answer: Mapping[str, Any], pointer: str) -> None:
    """What nobody would read on paper, and would take minutes to draw."""
    points = sum(len(series["points"]) for series in answer.get("series", ()))
    balances, criteria = len(answer.get("instruments", ())), len(answer.get("criteria", ()))
    for count, most, what in (
        (points, MOST_POINTS, "points"),
        (balances, MOST_BALANCES, "balances"),
        (criteria, MOST_CRITERIA, "criteria"),
    ):
        if count > most:
            said = f"{count} {what} are too many for a report, which has at most {most}"
            raise refusal_of("invalid", [FieldError(pointer, "too-many", said)])


# By the last part of their address; `PAGED` names them.
OF_LOGBOOK: Final = {"status": status_report, "drift": drift_report}
