"""A bench card as one page of HTML: no script, nothing from outside, for A4 and letter."""

from base64 import b64encode
from collections.abc import Mapping
from functools import cache
from hashlib import sha256
from importlib.resources import files
from typing import Any

from jinja2 import Environment, StrictUndefined, Template
from markupsafe import Markup

from weighworthy_service.evidence.card_view import card_view


def card_page(card: Mapping[str, Any]) -> str:
    """The card as an HTML document."""
    return _template("card.html").render(style=Markup(_text("card.css")), **card_view(card))  # noqa: S704  our own file


@cache
def page_policy() -> str:
    """The Content-Security-Policy that lets the page have its own style and nothing else."""
    digest = b64encode(sha256(_text("card.css").encode()).digest()).decode()
    return f"default-src 'none'; style-src 'sha256-{digest}'; frame-ancestors 'none'"


@cache
def _template(name: str) -> Template:
    # Autoescaping always: names of balances and weights come from the request.
    environment = Environment(
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    return environment.from_string(_text(name))


@cache
def _text(name: str) -> str:
    folder = files("weighworthy_service.evidence").joinpath("templates")
    return folder.joinpath(name).read_text("utf-8").strip() + "\n"
