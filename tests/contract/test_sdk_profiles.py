"""The client's words about profiles are those of the published description."""

import dataclasses
import inspect
import json
import typing
from typing import Any, get_args

import pytest

from weighworthy import profile_results, profile_shapes
from weighworthy.profiles import Profiles
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
    "Placings",
    "Runs",
    "SetPoints",
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


# What the client takes in other words: a profile in any form, and the form of a card.
IN_OTHER_WORDS = {"self", "profile", "profile_toml", "form"}


@pytest.mark.parametrize(
    ("method", "schema"),
    [
        (Profiles.review, "ReviewRequest"),
        (Profiles.resolve, "ResolveRequest"),
        (Profiles.card, "CardRequest"),
    ],
)
def test_parameters_are_the_fields_of_the_request(method: Any, schema: str) -> None:
    parameters = inspect.signature(method).parameters
    fields = SCHEMAS[schema]["properties"].keys()
    assert parameters.keys() - IN_OTHER_WORDS == fields - IN_OTHER_WORDS
    needed = {name for name, p in parameters.items() if p.default is p.empty} - IN_OTHER_WORDS
    # Weights may come from the site.
    assert needed == set(SCHEMAS[schema].get("required", [])) - {"weights"}


def test_parameters_of_a_comparison() -> None:
    parameters = inspect.signature(Profiles.compare).parameters.keys() - {"self", "progress"}
    # The client itself splits many past checks over several calls.
    assert parameters == SCHEMAS["Compare"]["properties"].keys() - {"part"} | {
        "weights_before",
        "weights_after",
    }
    assert SCHEMAS["Side"]["properties"].keys() == {"profile", "profile_toml", "weights"}


@pytest.mark.parametrize(
    ("result", "schema"),
    [
        (profile_results.Review, "Review"),
        (profile_results.Resolution, "Resolution"),
        (profile_results.Setting, "Setting"),
        (profile_results.Place, "Place"),
    ],
)
def test_fields_of_the_answers(result: Any, schema: str) -> None:
    own = {"data", "raw", "source", "file"}
    fields = {field.name for field in dataclasses.fields(result)} - own
    # A field that only some callers need is reached through ``data``.
    assert fields <= SCHEMAS[schema]["properties"].keys()
    assert set(SCHEMAS[schema]["required"]) - fields <= {"extends"}


def choices(hint: Any) -> set[str]:
    """Texts of the Literal that a hint is, if it is one."""
    return set(get_args(hint)) if typing.get_origin(hint) is typing.Literal else set()
