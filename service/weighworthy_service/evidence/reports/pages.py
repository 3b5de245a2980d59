"""Reports as HTML: no script, nothing from outside, everything from elsewhere escaped."""

from base64 import b64encode
from functools import cache, partial
from hashlib import sha256
from importlib.resources import files
from typing import Any, Final, NamedTuple

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from weighworthy_service.evidence.reports.terms import verdict_word
from weighworthy_service.evidence.reports.words import words

_FOLDER: Final = "weighworthy_service.evidence.reports"


class Page(NamedTuple):
    """A document, and the Content-Security-Policy that lets it have its own style alone."""

    html: str
    policy: str


def render(name: str, language: str, *, running: str, **values: Any) -> Page:
    """The page of `templates/<name>.html`; `running` stands at the foot of every sheet of paper."""
    of_language = words(language)
    page, of = of_language.text("Page"), of_language.text("of")
    counted = f"{_css(f'{page} ')} counter(page) {_css(f' {of} ')} counter(pages)"
    foot = (
        f"@page {{ @bottom-left {{ content: {_css(running)}; }} "
        f"@bottom-right {{ content: {counted}; }} }}\n"
    )
    style = _style() + foot
    html = (
        _environment(language)
        .get_template(f"{name}.html")
        .render(
            style=Markup(style),  # noqa: S704  our own file, and texts in hexadecimal
            language=language,
            **values,
        )
    )
    digest = b64encode(sha256(style.encode()).digest()).decode()
    policy = f"default-src 'none'; style-src 'sha256-{digest}'; frame-ancestors 'none'"
    return Page(html, policy)


def _css(text: str) -> str:
    """A string of CSS in which nothing of the text can mean anything."""
    return '"' + "".join(f"\\{ord(letter):06x}" for letter in text) + '"'


@cache
def _environment(language: str) -> Environment:
    of_language = words(language)
    environment = Environment(
        loader=PackageLoader(_FOLDER),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.globals |= {
        "_": of_language.text,
        "number": of_language.number,
        "verdict_word": partial(verdict_word, of_language),
    }
    return environment


@cache
def _style() -> str:
    return files(_FOLDER).joinpath("templates", "report.css").read_text("utf-8").strip() + "\n"
