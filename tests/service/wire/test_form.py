"""Forms: closed, all faults at once, pointers that lead to the right place."""

import time

import pytest
from marshmallow import ValidationError

from weighworthy_service.json_document import pointer
from weighworthy_service.wire.coded import FieldError, field_errors
from weighworthy_service.wire.containers import MapOf, Part
from weighworthy_service.wire.fields import Quantity
from weighworthy_service.wire.form import Form


class Inner(Form):
    nominal = Quantity("mass", required=True)


class Outer(Form):
    capacity = Quantity("mass", required=True)
    part = Part(Inner)
    weights = MapOf(Part(Inner), maximum=500)


FORM = Outer()


def faults(document: object) -> list[FieldError]:
    with pytest.raises(ValidationError) as caught:
        FORM.load(document)
    return field_errors(caught.value.messages)


def test_unknown_field_names_the_nearest() -> None:
    (fault,) = faults({"capacity": "1 g", "part": {"nominal": "1 g", "nominl": "1 g"}})
    assert (fault.pointer, fault.code) == ("/part/nominl", "unknown-field")
    assert fault.detail == 'there is no such field; did you mean "nominal"?'


def test_unknown_field_that_resembles_nothing_gets_no_suggestion() -> None:
    (fault,) = faults({"capacity": "1 g", "xyz": 1})
    assert fault.detail == "there is no such field"


@pytest.mark.parametrize("document", [[], "text", 3, None, True])
def test_root_must_be_an_object(document: object) -> None:
    assert [(f.pointer, f.code) for f in faults(document)] == [("", "wrong-type")]


def test_missing_and_null_required_are_the_same_fault() -> None:
    assert faults({}) == faults({"capacity": None})
    assert [(f.pointer, f.code) for f in faults({})] == [("/capacity", "required")]


def test_a_key_that_marshmallow_uses_itself_is_a_plain_key() -> None:
    found = faults({"_schema": 1, "weights": {"_schema": {}, "A": 3}, "part": []})
    assert [(f.pointer, f.code) for f in found] == [
        ("/capacity", "required"),
        ("/part", "wrong-type"),
        ("/weights/_schema/nominal", "required"),
        ("/weights/A", "wrong-type"),
        ("/_schema", "unknown-field"),
    ]


def test_pointer_escapes_and_shortens() -> None:
    assert pointer("a~b", 0, "c/d") == "/a~0b/0/c~1d"
    assert pointer("x" * 1000) == "/" + "x" * 64 + "…"


def test_at_most_a_hundred_faults_and_no_long_search_for_names() -> None:
    document = {f"unknown{i}": 1 for i in range(100_000)}
    started = time.perf_counter()
    found = faults(document)
    assert len(found) == 100
    # The search for the nearest name alone would take minutes for so many keys.
    assert time.perf_counter() - started < 10
