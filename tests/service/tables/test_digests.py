"""Digests by template are those of RFC 8785 of the whole request."""

from hashlib import sha256
from typing import Any

import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st

from weighworthy_service.tables.digests import DigestTemplate, marks_for

VALUES = st.lists(st.none() | st.text(), min_size=3, max_size=3)


def request_with(values: list[str | None], **more: Any) -> dict[str, Any]:
    first, second, third = values
    found = {
        "initial": {"load": ["A"], "b": second},
        "z": third,
        "a%s": "100 %",
        "zz": 7,
        "c": first,
    }
    return {**found, **more}


def by_library(document: dict[str, Any]) -> str:
    whole = {name: value for name, value in document.items() if value is not None}
    whole["initial"] = {k: v for k, v in document["initial"].items() if v is not None}
    return "sha256:" + sha256(rfc8785.dumps({**whole, "check": "span"})).hexdigest()


@given(VALUES, st.data())
def test_equal_to_the_library(values: list[str | None], data: st.DataObject) -> None:
    """One template serves all values of its pattern."""
    template = DigestTemplate(request_with(marks_for(values)), "span", marks_for(values))
    assert template.usable
    other = [None if value is None else data.draw(st.text()) for value in values]
    for found in (values, other):
        assert template.digest(found) == by_library(request_with(found))


def test_labels_do_not_count() -> None:
    values = ["x", "y", "z"]
    document = request_with(marks_for(values), labels={"a": "b"})
    assert DigestTemplate(document, "span", marks_for(values)).digest(values) == by_library(
        request_with(values)
    )


@pytest.mark.parametrize("place", ["more", "a%s"])
def test_a_text_that_looks_like_a_mark_is_not_mistaken(place: str) -> None:
    marks = marks_for(["x", "y", "z"])
    assert DigestTemplate(request_with(marks), "span", marks).usable
    again = request_with(marks, **{place: marks[0]})
    assert not DigestTemplate(again, "span", marks).usable
