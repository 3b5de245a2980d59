"""Pages of HTML for people: no script, nothing from outside, everything from elsewhere escaped."""

import re
from base64 import b64encode
from functools import cache
from hashlib import sha256
from importlib.resources import files
from typing import Any

from jinja2 import Environment, StrictUndefined, Template
from markupsafe import Markup, escape


def render(name: str, **values: Any) -> str:
    """The page of `templates/<name>.html` with the style of `templates/<name>.css`."""
    style = Markup(_text(f"{name}.css"))  # noqa: S704  our own file
    return _template(f"{name}.html").render(style=style, **values)


@cache
def policy(name: str) -> str:
    """The Content-Security-Policy that lets a page have its own style and nothing else."""
    digest = b64encode(sha256(_text(f"{name}.css").encode()).digest()).decode()
    return f"default-src 'none'; style-src 'sha256-{digest}'; frame-ancestors 'none'"


@cache
def _template(name: str) -> Template:
    # Autoescaping always: names of balances and weights come from the request.
    environment = Environment(
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    environment.filters |= {"minus": _minus, "units": _units, "dates": _dates}
    return environment.from_string(_text(name))


def _minus(text: str) -> str:
    """With true minus signs, where a hyphen stands before a number."""
    return re.sub(r"(?<![^\s(])-(?=[0-9])", "\N{MINUS SIGN}", text)


def _dates(text: str) -> Markup:
    """With dates that no line break parts."""
    whole = re.sub(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", r'<span class="one">\g<0></span>', escape(text))
    return Markup(whole)  # noqa: S704  escaped before


def _units(text: str) -> str:
    """With numbers and units that no line break parts."""
    return re.sub(r"(?<=[0-9]) (?=(?:g|mg|%)(?![A-Za-z]))", "\N{NO-BREAK SPACE}", text)


@cache
def _text(name: str) -> str:
    folder = files("weighworthy_service.evidence").joinpath("templates")
    return folder.joinpath(name).read_text("utf-8").strip() + "\n"
