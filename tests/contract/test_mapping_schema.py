"""The schema of mappings and the form that reads them take the same documents."""

import json
from collections.abc import Callable
from copy import deepcopy
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient
from jsonschema import Draft202012Validator

from weighworthy_service.profiles.source import Source
from weighworthy_service.tables.mapping import MappingNotUsable
from weighworthy_service.tables.mapping_reading import read_mapping
from weighworthy_service.web.mapping_schema import schema_bytes

ROOT = Path(__file__).parents[2]
LOSS: dict[str, Any] = {
    "id": "harbour-export",
    "title": "Kestrel Mill Foods (invented)",
    "check": "simulated-loss",
    "time_zone": "Europe/Berlin",
    "table": {"encoding": "cp1252", "delimiter": ";", "decimal": ",", "missing": ["---"]},
    "columns": {
        "instrument": "Balance",
        "initial.indication": {"column": "Start", "unit": "g", "decimals": 4},
        "final.indication": "#4",
        "performed_at": {"columns": ["Date", "Time"], "format": "%d.%m.%Y %H:%M"},
        "initial.load": {"column": "On", "separator": "+"},
        "heating": {"column": "Hot", "values": {"yes": True, "no": False}},
        "labels.sample.no": "Sample",
        "weights.KM-31.nominal": {"column": "Nominal", "unit": "g"},
    },
    "constants": {
        "final": {"load": ["KM-31"]},
        "weights": {"KM-31": {"nominal": "10 g", "weight_class": "OIML F1"}},
        "profile": {"id": "own", "revision": "1", "rules": [{}]},
    },
    "instruments": {"MA-07": {"scale_interval": "1 mg"}},
}
LINEARITY: dict[str, Any] = {
    "check": {"column": "Test", "values": {"lin": "linearity"}, "skip": ["blank"]},
    "columns": {
        "points.indication": "Shown",
        "points.load": {"columns": ["W1", "W2"]},
        "performed_at": {"column": "When", "format": ["%d.%m.%Y %H:%M", "excel"]},
    },
    "constants": {
        "instrument": {"scale_interval": "1 mg"},
        "weights": {"A": {"nominal": "5 g", "weight_class": "OIML F1"}},
    },
    "gather": {"by": ["Run"], "order": "Point", "within": 50, "complete": 11},
}


@pytest.fixture(scope="module")
def schema() -> Draft202012Validator:
    text = (ROOT / "openapi/mapping.schema.json").read_bytes()
    assert text == schema_bytes(), "derive openapi/mapping.schema.json anew"
    Draft202012Validator.check_schema(json.loads(text))
    return Draft202012Validator(json.loads(text))


def form_takes(document: Any) -> bool:
    try:
        read_mapping(Source(document))
    except MappingNotUsable:
        return False
    return True


@pytest.mark.parametrize("document", [LOSS, LINEARITY])
def test_whole_mappings_fit_both(schema: Draft202012Validator, document: dict[str, Any]) -> None:
    assert list(schema.iter_errors(document)) == []
    assert form_takes(document)


@pytest.mark.parametrize(
    "change",
    [
        {"id": None, "title": None, "table": None, "gather": None, "time_zone": None},
        {"table": {"encoding": None, "delimiter": None, "header_row": 0}},
        {"constants": {**LOSS["constants"], "occasion": None}},
        {"columns": {**LOSS["columns"], "heating": None}},
    ],
)
def test_null_is_no_value_to_both(schema: Draft202012Validator, change: dict[str, Any]) -> None:
    document = deepcopy(LOSS) | change
    assert list(schema.iter_errors(document)) == []
    assert form_takes(document)


@pytest.mark.parametrize(
    ("base", "path", "value"),
    [
        (LOSS, ["id"], "Harbour"),
        (LOSS, ["ids"], "x"),
        (LOSS, ["check"], "loss"),
        (LOSS, ["check"], None),
        (LOSS, ["check"], {"column": "Test"}),
        (LOSS, ["check"], {"column": "Test", "values": {"x": "loss"}}),
        (LOSS, ["table", "encoding"], "utf-7"),
        (LOSS, ["table", "delimiter"], ":"),
        (LOSS, ["table", "header_row"], "3"),
        (LOSS, ["table", "missing"], "---"),
        (LOSS, ["columns"], None),
        (LOSS, ["columns", "initial.laod"], "X"),
        (LOSS, ["columns", "points.zero"], ""),
        (LOSS, ["columns", "labels."], "X"),
        (LOSS, ["columns", "series.x.at"], "X"),
        (LOSS, ["columns", "heating"], ["Hot"]),
        (LOSS, ["columns", "heating"], {"column": "Hot", "decimals": "4"}),
        (LOSS, ["columns", "heating"], {"column": "Hot", "decimals": 10}),
        (LOSS, ["columns", "heating"], {"column": "Hot", "value": {}}),
        (LOSS, ["columns", "performed_at"], {"column": "A", "format": []}),
        (LOSS, ["columns", "performed_at"], {"columns": []}),
        (LOSS, ["constants", "finale"], {}),
        (LOSS, ["constants", "final"], {"loads": []}),
        (LOSS, ["constants", "weights"], {"A": {"nominal": "10"}}),
        (LOSS, ["instruments", "MA-07"], {"scale_interval": "1"}),
        (LOSS, ["instruments", "MA-07"], "MA-07"),
        (LINEARITY, ["gather"], {}),
        (LINEARITY, ["gather", "by"], []),
        (LINEARITY, ["gather", "within"], 0),
        (LINEARITY, ["gather", "complete"], 5001),
    ],
)
def test_neither_takes_what_has_not_the_form(
    schema: Draft202012Validator, base: dict[str, Any], path: list[str], value: Any
) -> None:
    document = deepcopy(base)
    inside = document
    for key in path[:-1]:
        inside = inside[key]
    inside[path[-1]] = value
    assert not schema.is_valid(document)
    assert not form_takes(document)


@pytest.mark.parametrize(
    ("accept", "status"), [("application/json", 200), ("application/toml", 200), ("text/csv", 406)]
)
def test_drafts_are_answered_as_documented(
    client: FlaskClient, conforms: Callable[..., None], accept: str, status: int
) -> None:
    response = client.post(
        "/v1/mappings/draft",
        data=b"Balance,Start [g],End [g]\r\nMA-07,12.0031,10.0012\r\n",
        content_type="text/csv",
        headers={"Accept": accept},
    )
    assert response.status_code == status
    if "json" in response.content_type:
        conforms("/v1/mappings/draft", "POST", status, response.content_type, response.data)
