"""The client's words about profiles are those of the published description."""

import json
import typing
from typing import Any, get_args

import pytest

from weighworthy import profile_shapes
from weighworthy_service.web.document import document_bytes

SCHEMAS = json.loads(document_bytes())["components"]["schemas"]
SHAPES = (
    "Profile",
    "Rule",
    "Limit",
    "Band",
    "PlainLimit",
    "Decision",
    "StartWindow",
    "Validity",
    "WarmUp",
    "Rounds",
    "Points",
    "WeightShare",
    "Schedule",
    "Step",
)


@pytest.mark.parametrize("name", SHAPES)
def test_shapes_of_a_profile(name: str) -> None:
    shape, schema = getattr(profile_shapes, name), SCHEMAS[name]
    hints = typing.get_type_hints(shape)
    assert hints.keys() == schema["properties"].keys()
    assert set(shape.__required_keys__) == set(schema.get("required", []))
    for field, published in schema["properties"].items():
        assert choices(hints[field]) == set(published.get("enum", [])) - {None}, field


def choices(hint: Any) -> set[str]:
    """Texts of the Literal that a hint is, if it is one."""
    return set(get_args(hint)) if typing.get_origin(hint) is typing.Literal else set()
