"""Reports of the logbook: how balances stand, and how their errors drift."""

from collections.abc import Mapping
from typing import Any

from weighworthy_service.evidence.reports.book_view import drift_view, status_view
from weighworthy_service.evidence.reports.pages import Page, render
from weighworthy_service.evidence.reports.words import words


def status_page(answer: Mapping[str, Any], language: str, *, stored: bool = False) -> Page:
    """How all balances stand at a moment."""
    view = status_view(words(language), answer)
    running = f"weighworthy · {answer['at']}"
    return render("status", language, running=running, stored=stored, **view)


def drift_page(answer: Mapping[str, Any], language: str, *, stored: bool = False) -> Page:
    """Control charts and slopes of all series."""
    view = drift_view(words(language), answer)
    running = f"weighworthy · {answer['at']}"
    return render("drift", language, running=running, stored=stored, **view)
