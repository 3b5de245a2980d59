"""The report of one check."""

from collections.abc import Mapping
from typing import Any, Literal

from weighworthy_service.evidence.reports.annex import annex, units_note
from weighworthy_service.evidence.reports.check_view import check_view
from weighworthy_service.evidence.reports.pages import Page, render
from weighworthy_service.evidence.reports.words import words

Origin = Literal["judged", "stored", "stored-with-request"]


def check_page(
    answer: Mapping[str, Any], request: Mapping[str, Any] | None, language: str, origin: Origin
) -> Page:
    """An answer, with the request it is of, as a document.

    `origin`: whether it was judged for this page, or is an earlier answer that is taken at its
    word, without its request or with one whose digest it names.
    """
    of_language = words(language)
    digest = answer["request_digest"].removeprefix("sha256:")[:16]
    running = f"weighworthy · {answer['check']} · {digest}"
    return render(
        "check",
        language,
        running=running,
        origin=origin,
        figures=annex(of_language, answer),
        units_note=units_note(of_language, (one["unit"] for one in answer["criteria"])),
        **check_view(of_language, answer, request),
    )
