"""The page about the interface: whole, without script or anything from outside, and readable."""

import re
import shutil
import subprocess
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient
from PIL import Image

from weighworthy_service.wire.problem import PROBLEMS

VOID = {"meta", "br", "hr"}
needs_chromium = pytest.mark.skipif(shutil.which("chromium") is None, reason="needs chromium")
BROWSER = (
    *("chromium", "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic"),
    *("--no-first-run", "--disable-background-networking", "--disable-component-update"),
    *("--disable-sync", "--hide-scrollbars"),
)


class Page(HTMLParser):
    """Elements and words of a page; fails where elements are not closed in order."""

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

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if "style" not in self.open:
            self.words += data.split()

    def ids(self) -> list[str | None]:
        return [attrs["id"] for _, attrs in self.elements if "id" in attrs]

    def links(self) -> set[str]:
        return {attrs["href"] or "" for tag, attrs in self.elements if tag == "a"}

    @property
    def text(self) -> str:
        return " ".join(self.words)


@pytest.fixture(scope="module")
def html(client: FlaskClient) -> str:
    response = client.get("/docs")
    assert response.status_code == 200
    assert response.content_type == "text/html; charset=utf-8"
    return response.get_data(as_text=True)


@pytest.fixture(scope="module")
def page(html: str) -> Page:
    return Page(html)


def test_every_operation_field_and_kind_of_problem_is_there(
    page: Page, document: dict[str, Any]
) -> None:
    text = page.text
    ids = page.ids()
    for path, operations in document["paths"].items():
        for method, operation in operations.items():
            assert f"{method.upper()} {path}" in text
            assert operation["operationId"] in ids
            assert all(one["name"] in text for one in operation.get("parameters", []))
    for name, schema in document["components"]["schemas"].items():
        assert f"form-{name}" in ids
        assert all(field in text for field in schema.get("properties", {})), name
    assert all(slug in text for slug in PROBLEMS)


def test_what_a_form_says_of_its_fields(page: Page) -> None:
    text = page.text
    # As the forms of requests and answers state them.
    assert "coverage_factor text" in text
    assert "rounds needed list of Round at most 100 items" in text
    assert "occasion text one of routine , set-up , moved ," in text
    assert "weights needed object, by name Weight" in text


def test_every_link_leads_somewhere(page: Page, client: FlaskClient) -> None:
    ids = page.ids()
    assert len(ids) == len(set(ids))
    links = page.links()
    assert len(links) > 100
    for link in links:
        if link.startswith("#"):
            assert link[1:] in ids, link
        else:
            assert client.get(link).status_code == 200, link


def test_no_script_and_nothing_from_outside(page: Page, html: str) -> None:
    tags = {tag for tag, _ in page.elements}
    assert not tags & {"script", "link", "img", "iframe", "object", "form", "base", "svg"}
    attributes = {name for _, attrs in page.elements for name in attrs}
    assert not {name for name in attributes if name.startswith("on")} | attributes & {
        "src",
        "style",
    }
    assert "url(" not in html
    assert "@import" not in html


def test_the_policy_lets_its_own_style_and_nothing_else(client: FlaskClient) -> None:
    said = client.get("/docs").headers["Content-Security-Policy"]
    assert re.fullmatch(
        r"default-src 'none'; style-src 'sha256-[A-Za-z0-9+/=]+'; frame-ancestors 'none'", said
    )


def test_what_did_not_change_is_not_sent_again(client: FlaskClient) -> None:
    tag = client.get("/docs").headers["ETag"]
    again = client.get("/docs", headers={"If-None-Match": tag})
    assert (again.status_code, again.data) == (304, b"")


def test_what_looks_like_html_in_a_description_stays_text() -> None:
    from weighworthy_service.web.docs_page import _rich

    made = _rich("a <b>bold</b> `<script>` [x](javascript:alert)")
    assert "<b>" not in made
    assert "<script" not in made
    assert "href" not in made


@pytest.mark.needs_chromium
@needs_chromium
@pytest.mark.parametrize("width", [1280, 420])
def test_a_browser_shows_it_under_its_policy(live_service: str, width: int, tmp_path: Path) -> None:
    # What the browser has made of the page, after the policy had its say.
    size, profile = f"--window-size={width},900", f"--user-data-dir={tmp_path / 'browser'}"
    shown = tmp_path / "docs.png"
    ran = subprocess.run(
        [*BROWSER, size, profile, "--enable-logging=stderr", f"--screenshot={shown}",
         f"{live_service}/docs"],
        capture_output=True, text=True, check=True, timeout=120,
    )  # fmt: skip
    assert "Content Security Policy" not in ran.stderr
    assert "Refused to" not in ran.stderr
    with Image.open(shown) as picture:
        left, right = (picture.convert("RGB").getpixel((x, 880)) for x in (3, width - 3))
    # The contents stand beside the text where there is room: another ground at the left.
    assert right == (255, 255, 255)
    assert (left != right) == (width > 900)
