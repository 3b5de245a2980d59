"""Whether and in which language an answer is asked for as a page; drawing it is loaded then."""

from collections.abc import Mapping
from typing import Final

from flask import request

from weighworthy_service.evidence.languages import LANGUAGES

HTML: Final = "text/html"
# Of the query: in which language a page is written.
LANGUAGE: Final[Mapping[str, tuple[str, ...]]] = {"lang": LANGUAGES}
# Answers of the logbook that are pages, too, by the last part of their address.
PAGED: Final = ("status", "drift")


def language() -> str:
    """The language that was asked for; its faults are told where the query is read."""
    return request.args.get("lang", LANGUAGES[0])
