"""Answers that reports are drawn from, and a reader of the pages."""

from collections.abc import Callable, Iterator
from copy import deepcopy
from decimal import Decimal
from functools import cache
from html.parser import HTMLParser
from typing import Any

import pytest

from weighworthy_service.checks.registry import BY_SLUG
from weighworthy_service.evidence.reports.check_page import check_page

_VOID = {"meta", "path", "circle", "rect", "line", "polygon", "polyline", "col", "br"}


class Paper(HTMLParser):
    """Text and elements of a page; fails where elements are not closed in order."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.html = html
        self.open: list[str] = []
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self.feed(html)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        if tag not in _VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if "style" not in self.open:
            self.words += data.split()

    @property
    def text(self) -> str:
        return " ".join(self.words)

    @property
    def tokens(self) -> set[str]:
        """Words without the marks beside them, and the blanks that align figures."""
        return {word.strip("\N{FIGURE SPACE}\N{PUNCTUATION SPACE},;:()") for word in self.words}


@pytest.fixture
def read() -> Callable[[str], Paper]:
    return Paper


@pytest.fixture
def example() -> Callable[[str], tuple[dict[str, Any], dict[str, Any]]]:
    """Answer and request of a kind's worked example, to be changed at will."""

    def of(slug: str) -> tuple[dict[str, Any], dict[str, Any]]:
        both = deepcopy(BY_SLUG[slug].example)
        return both["answer"], both["request"]

    return of


@pytest.fixture
def drawn() -> Callable[..., Paper]:
    """The page of a kind's example, in a language, with or without its request."""

    def draw(slug: str, language: str = "en", *, alone: bool = False) -> Paper:
        return _drawn(slug, language, alone)

    return draw


@cache
def _drawn(slug: str, language: str, alone: bool) -> Paper:
    example = BY_SLUG[slug].example
    request = None if alone else example["request"]
    return Paper(check_page(example["answer"], request, language, "judged").html)


@pytest.fixture
def numbers() -> Callable[[Any], Iterator[float]]:
    """Every number in a JSON document."""

    def below(value: Any) -> Iterator[float]:
        if isinstance(value, bool):
            return
        if isinstance(value, int | float):
            yield value
        elif isinstance(value, dict):
            for one in value.values():
                yield from below(one)
        elif isinstance(value, list):
            for one in value:
                yield from below(one)

    return below


@pytest.fixture
def written() -> Callable[[float, str], str]:
    """A number with all its digits as a language writes it; by hand, not as reports do it."""

    def write(value: float, language: str) -> str:
        text = f"{Decimal(str(value)):f}"
        text = text.rstrip("0").rstrip(".") if "." in text else text
        text = text.replace("-", "−")
        return text.replace(".", ",") if language == "de" else text

    return write
