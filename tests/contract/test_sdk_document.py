"""What the client says by hand, held against the published description of the service."""

import dataclasses
import inspect
import json
import typing
from pathlib import Path
from typing import Any, get_args

import pytest

from weighworthy import Client, errors, explained, inputs, record_results, results, values
from weighworthy_service.checks.registry import KINDS

DOCUMENT = Path(__file__).parents[2] / "openapi" / "weighworthy-v1.json"
PUBLISHED: dict[str, Any] = json.loads(DOCUMENT.read_text(encoding="utf-8"))
SCHEMAS: dict[str, Any] = PUBLISHED["components"]["schemas"]
PATHS: dict[str, Any] = PUBLISHED["paths"]
OF_THE_CALL = {"self", "request_id", "detail", "explain"}


def request_of(kind: str) -> dict[str, Any]:
    """The schema of what the address of a kind takes."""
    body = PATHS[f"/v1/checks/{kind}"]["post"]["requestBody"]["content"]["application/json"]
    named: dict[str, Any] = SCHEMAS[body["schema"]["$ref"].rpartition("/")[2]]
    return named


@pytest.mark.parametrize("kind", [kind.slug for kind in KINDS])
def test_parameters_are_the_fields_of_the_request(kind: str) -> None:
    method, schema = getattr(Client, f"check_{kind.replace('-', '_')}"), request_of(kind)
    parameters = inspect.signature(method).parameters
    # The URL says which check it is.
    assert parameters.keys() - OF_THE_CALL == schema["properties"].keys() - {"check"}
    needed = {name for name, p in parameters.items() if p.default is p.empty} - OF_THE_CALL
    # Instrument and weights may come from the site.
    assert needed == set(schema["required"]) - {"instrument", "weights"}


@pytest.mark.parametrize(
    "shape",
    [
        inputs.Weight,
        inputs.Instrument,
        inputs.Eccentricity,
        inputs.HotZeroCorrection,
        inputs.Environment,
        inputs.Round,
        inputs.Point,
        inputs.Loading,
        inputs.SeriesPoint,
        inputs.PanRun,
        inputs.SeriesReading,
        inputs.Correction,
        inputs.Probe,
        inputs.TimedTemperature,
        inputs.SetPoint,
        inputs.Material,
        inputs.MaterialRun,
        inputs.EarlierSpread,
    ],
)
def test_shapes_of_the_request(shape: Any) -> None:
    schema = SCHEMAS[shape.__name__]
    hints = typing.get_type_hints(shape)
    assert hints.keys() == schema["properties"].keys()
    assert set(shape.__required_keys__) == set(schema.get("required", []))
    for name, published in schema["properties"].items():
        # Weight classes are text: scripts read them from certificates, not from an editor's list.
        choices = set() if name == "weight_class" else set(published.get("enum", [])) - {None}
        assert _choices(hints[name]) == choices, name
        assert (name in values._COUNTS) == ("integer" in published.get("type", [])), name


def test_occasions() -> None:
    published = SCHEMAS["SpanCheck"]["properties"]["occasion"]["enum"]
    assert set(get_args(inputs.Occasion)) == set(published) - {None}


def _choices(hint: Any) -> set[str]:
    """Texts of every Literal in a type hint."""
    if typing.get_origin(hint) is typing.Literal:
        return set(get_args(hint))
    return {text for part in get_args(hint) for text in _choices(part)}


@pytest.mark.parametrize(
    ("result", "schema"),
    [
        (results.Answer, "Answer"),
        (results.Criterion, "Criterion"),
        (results.BudgetRow, "BudgetRow"),
        (results.Finding, "Finding"),
        (results.ProfileRef, "ProfileIdentity"),
        (results.EngineRef, "Engine"),
        (explained.ExplanationStep, "ExplanationStep"),
        (errors.FieldError, "FieldError"),
    ],
)
def test_fields_of_the_answer(result: Any, schema: str) -> None:
    own = {"raw", "data", "request_id"} if result is results.Answer else set()
    fields = {field.name for field in dataclasses.fields(result)}
    assert fields - own == SCHEMAS[schema]["properties"].keys()


def test_verdicts() -> None:
    published = SCHEMAS["Answer"]["properties"]["verdict"]["enum"]
    assert set(results.VERDICTS) == set(published) - {None}


@pytest.mark.parametrize(
    ("result", "schema", "own"),
    [
        (record_results.Record, "SealedRecord", {"raw", "data", "request_id"}),
        (record_results.Verification, "Verification", {"raw", "data"}),
        (record_results.ChainVerification, "Chain", {"raw", "data"}),
    ],
)
def test_fields_of_what_is_told_of_records(result: Any, schema: str, own: set[str]) -> None:
    """Each is a member of the document; what is not a field is in `data`."""
    fields = {field.name for field in dataclasses.fields(result)} - own
    assert fields <= SCHEMAS[schema]["properties"].keys()
