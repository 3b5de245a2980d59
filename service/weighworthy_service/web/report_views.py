"""Reports of earlier answers: drawn, not judged."""

from collections.abc import Mapping
from typing import Any, Final

from flask import Response, request
from jinja2 import UndefinedError
from marshmallow import Schema, ValidationError

from weighworthy_service.checks.answer import request_digest
from weighworthy_service.checks.flaws import SenseError
from weighworthy_service.evidence.reports.batch_page import Told, batch_page
from weighworthy_service.evidence.reports.book_pages import drift_page, status_page
from weighworthy_service.evidence.reports.check_page import check_page
from weighworthy_service.evidence.reports.pages import Page
from weighworthy_service.evidence.reports.sitting_page import sitting_page
from weighworthy_service.profiles.refusal import from_flaws, refusal_of
from weighworthy_service.web.addresses import Known, Views
from weighworthy_service.web.asking import best_type, kind_of, loaded
from weighworthy_service.web.json import read_json
from weighworthy_service.web.page_asked import HTML, LANGUAGE, language
from weighworthy_service.web.report_answers import (
    page_response,
    refuse_if_too_long,
)
from weighworthy_service.web.room import heavy
from weighworthy_service.wire.coded import FieldError, field_errors
from weighworthy_service.wire.logbook_answers import StatusAnswerForm
from weighworthy_service.wire.logbook_drift import DriftAnswerForm
from weighworthy_service.wire.report import ReportForm
from weighworthy_service.wire.responses import AnswerForm
from weighworthy_service.wire.sitting import SittingAnswerForm

Data = Mapping[str, Any]

# Answers of a logbook are larger than any request for one check.
MAX_ANSWER: Final = 4 * 1024 * 1024
_FORM: Final = ReportForm()
# By what an answer has, and no other: its form.
_FORMS: Final[tuple[tuple[str, Schema], ...]] = (
    ("criteria", AnswerForm()),
    ("instruments", StatusAnswerForm()),
    ("series", DriftAnswerForm()),
    ("answers", SittingAnswerForm()),
)
# What a number, text or list in a place for something else comes to, deep within an answer.
_NOT_OURS: Final = (
    KeyError,
    TypeError,
    ValueError,
    AttributeError,
    ArithmeticError,
    IndexError,
    UndefinedError,
)
_SAID: Final = "this is no answer of this service, or not all of it"


def views(_known: Known) -> Views:
    """The address of reports."""

    @heavy
    def report() -> Response:
        best_type((HTML,))
        stated = loaded(_FORM, read_json(request, MAX_ANSWER), LANGUAGE)
        answer = stated["answer"]
        name, form = next(((n, f) for n, f in _FORMS if n in answer), (None, None))
        if form is not None and (messages := form.validate(answer)):
            raise refusal_of("invalid", field_errors(messages, ("answer",)))
        asked = _request(stated, answer) if name == "criteria" else None
        try:
            refuse_if_too_long(answer, "/answer")
            page = _drawn(name, answer, asked, stated)
        except _NOT_OURS:
            raise refusal_of("invalid", [FieldError("/answer", "not-an-answer", _SAID)]) from None
        return page_response(page)

    return {"reports": report}


def _drawn(name: str | None, answer: Data, asked: Data | None, stated: Data) -> Page:
    if name == "criteria":
        return check_page(
            answer, asked, language(), "stored" if asked is None else "stored-with-request"
        )
    if name == "instruments":
        return status_page(answer, language(), stored=True)
    if name == "answers":
        return sitting_page(answer, stated.get("request"), language(), stored=True)
    if name == "series":
        return drift_page(answer, language(), stored=True)
    told = Told(summary=answer["summary"])
    for line in stated.get("lines") or ():
        told.add(line)
    for sort in told.more:
        told.more[sort] += stated.get(f"more_{sort}") or 0
    return batch_page(told, language())


def _request(stated: Data, answer: Data) -> Data | None:
    """The request of a check, if it was sent and is the one that was answered."""
    document: dict[str, Any] | None = stated.get("request")
    if document is None:
        return None
    kind = kind_of(answer["check"], ("answer", "check"))
    try:
        kind.form.load(document)
    except ValidationError as error:
        raise refusal_of("invalid", field_errors(error.messages, ("request",))) from None
    except SenseError as error:
        raise refusal_of("invalid", from_flaws(error.flaws, ("request",))) from None
    digest = request_digest(document, kind.slug)
    if digest != answer["request_digest"]:
        said = f"its digest is {digest}, and the answer is of {answer['request_digest'][:80]!r}"
        raise refusal_of("invalid", [FieldError("/request", "other-request", said)])
    return document
