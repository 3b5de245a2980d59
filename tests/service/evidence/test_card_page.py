import re
import shutil
import subprocess
from base64 import b64encode
from collections.abc import Callable
from datetime import date
from hashlib import sha256
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest

from weighworthy_service.evidence.card_page import card_page, page_policy
from weighworthy_service.evidence.card_view import range_text

SLUGS = ["span", "linearity", "simulated-loss"]
VOID = {"meta", "path", "circle", "br"}


class Page(HTMLParser):
    """Text and elements of a page; fails where elements are not closed in order."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self.feed(html)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        if tag not in VOID:
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


@pytest.mark.parametrize("slug", SLUGS)
def test_every_range_and_step_is_there(slug: str, made: Callable[..., dict[str, Any]]) -> None:
    card = made(slug)
    page = Page(card_page(card))
    shown = [range_text(band) for reading in card["readings"] for band in reading["bands"]]
    assert len(shown) > 3
    said = [*shown, *(step["text"] for step in card["steps"]), *card["cautions"]]
    said += [rung["text"] for rung in card["response"]]
    text = page.text.replace("−", "-")  # the page writes a true minus sign
    assert all(one in text for one in said)
    assert card["profile"]["digest"] in page.text


@pytest.mark.parametrize("slug", SLUGS)
def test_no_script_and_nothing_from_outside(slug: str, made: Callable[..., dict[str, Any]]) -> None:
    html = card_page(made(slug))
    page = Page(html)
    tags = {tag for tag, _ in page.elements}
    assert not tags & {"script", "link", "img", "iframe", "object", "form", "base"}
    assert "http" not in html
    assert "url(" not in html
    assert "@import" not in html
    loading = {"src", "href", "style", "srcset", "xlink:href"}
    assert not any(
        name in loading or name.startswith("on") for _, attrs in page.elements for name in attrs
    )


def test_style_is_the_one_that_the_policy_lets(example: dict[str, Any]) -> None:
    style = re.search(r"<style>(.*?)</style>", card_page(example), re.DOTALL)
    assert style is not None
    digest = b64encode(sha256(style[1].encode()).digest()).decode()
    assert f"style-src 'sha256-{digest}'" in page_policy()
    assert "default-src 'none'" in page_policy()


def test_names_from_the_request_stay_text(made: Callable[..., dict[str, Any]]) -> None:
    evil = "<script>alert(1)</script>&\"'"
    html = card_page(made("span", id=evil, site="{{ 7 * 7 }}"))
    assert "<script" not in html
    page = Page(html)
    assert evil in page.text
    assert "{{ 7 * 7 }}" in page.text


def test_verdicts_have_word_and_shape(made: Callable[..., dict[str, Any]]) -> None:
    html = card_page(made("span"))
    # Each verdict is followed by its word; signs are told apart by their outline.
    assert html.count('class="sign"') >= 5
    assert html.count("<circle") >= 2
    assert "M1 1h18v18H1z" in html
    text = Page(html).text
    assert all(word in text for word in ("Pass:", "Conditional pass:", "Fail or conditional fail:"))


@pytest.mark.parametrize("slug", SLUGS)
def test_void_card_shows_neither_pass_nor_fail(
    slug: str, made: Callable[..., dict[str, Any]]
) -> None:
    html = card_page(made(slug, day=date(2027, 6, 1)))
    text = Page(html).text
    assert "Do not start: this check cannot count" in text
    assert "was due for calibration on 2027-05-31" in text
    assert not any(word in text for word in ("Pass:", "Fail", "Go on", "Steps", "does not pass"))
    # Neither the green round sign nor the red square one.
    assert "#0b6b55" not in html
    assert "M1 1h18v18H1z" not in html


def test_minus_signs_and_names(made: Callable[..., dict[str, Any]]) -> None:
    text = Page(card_page(made("span"))).text
    assert "−0.001 g" in text
    assert "MA-07" in text


needs_chromium = pytest.mark.skipif(
    shutil.which("chromium") is None, reason="needs chromium to print"
)


@pytest.mark.needs_chromium
@needs_chromium
@pytest.mark.parametrize("slug", SLUGS)
@pytest.mark.parametrize("size", ["A4", "letter"])
def test_one_printed_page(
    slug: str, size: str, made: Callable[..., dict[str, Any]], tmp_path: Path
) -> None:
    assert pages(card_page(made(slug)), size, tmp_path) == 1


@pytest.mark.needs_chromium
@needs_chromium
@pytest.mark.parametrize("slug", SLUGS)
@pytest.mark.parametrize("day", [None, date(2027, 6, 1)])
def test_one_printed_page_of_the_longest_names(
    slug: str, day: date | None, lengthy: Callable[..., dict[str, Any]], tmp_path: Path
) -> None:
    assert pages(card_page(lengthy(slug, day=day)), "letter", tmp_path) == 1


def pages(html: str, size: str, folder: Path) -> int:
    page, pdf = folder / "card.html", folder / "card.pdf"
    # The page itself leaves the paper to the printer; here somebody has chosen it.
    html = html.replace("@page {", f"@page {{ size: {size};")
    page.write_text(html, encoding="utf-8")
    subprocess.run(
        [
            "chromium",
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            "--disable-quic",
            "--no-first-run",
            "--disable-background-networking",
            "--disable-component-update",
            "--disable-sync",
            f"--user-data-dir={folder / 'browser'}",
            "--no-pdf-header-footer",
            f"--print-to-pdf={pdf}",
            page.as_uri(),
        ],
        check=True,
        capture_output=True,
        timeout=120,
    )
    return len(re.findall(rb"/Type\s*/Page\b(?!s)", pdf.read_bytes()))
