"""A bench card as one page of HTML, for A4 and letter."""

from collections.abc import Mapping
from typing import Any

from weighworthy_service.evidence.card_view import card_view
from weighworthy_service.evidence.page_size import LONG_ID, page_size
from weighworthy_service.evidence.pages import policy, render


def card_page(card: Mapping[str, Any]) -> str:
    """The card as an HTML document."""
    view = card_view(card)
    return render("card", size=page_size(view), long=LONG_ID, **view)


def page_policy() -> str:
    """The Content-Security-Policy of the card."""
    return policy("card")
