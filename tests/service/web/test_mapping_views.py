"""The address of drafts: what may be sent, and in which form it is answered."""

import json
import tomllib
from typing import Any

import pytest
from flask.testing import FlaskClient

from weighworthy_service.web.app import create_app

CSV = "text/csv"
CELLS = "application/vnd.weighworthy.cells+x-ndjson"
ADDRESS = "/v1/mappings/draft"
TABLE = "Balance;Date;Start [g];End [g]\r\nMA-07;17.03.2026 06:55;12,0031;10,0012\r\n"


@pytest.fixture
def client() -> FlaskClient:
    return create_app().test_client()


def post(client: FlaskClient, body: str, kind: str = CSV, query: str = "", **headers: str) -> Any:
    return client.post(ADDRESS + query, data=body.encode(), content_type=kind, headers=headers)


def test_a_draft_is_toml_that_names_the_columns_and_the_doubts(client: FlaskClient) -> None:
    answer = post(client, TABLE, query="?check=simulated-loss")
    assert answer.status_code == 200
    draft = tomllib.loads(answer.json["toml"])
    assert draft["check"] == "simulated-loss"
    assert draft["table"] == {"decimal": ","}
    assert draft["columns"] == {
        "performed_at": {"column": "Date", "format": "%d.%m.%Y %H:%M"},
        "instrument": "Balance",
        "initial.indication": "Start [g]",
        "final.indication": "End [g]",
    }
    assert draft["instruments"] == {"MA-07": {}}
    assert answer.json["read_as"] == {
        "encoding": "utf-8",
        "delimiter": ";",
        "header_row": 1,
        "sheet": None,
        "assumed": ["header_row", "decimal"],
    }
    assert any("time_zone" in doubt["detail"] for doubt in answer.json["doubts"])
    for doubt in answer.json["doubts"]:
        assert set(doubt) == {"column", "detail"}
        assert doubt["detail"] in answer.json["toml"]


def test_the_text_alone_is_the_same(client: FlaskClient) -> None:
    whole = post(client, TABLE)
    alone = post(client, TABLE, Accept="application/toml")
    assert alone.content_type == "application/toml; charset=utf-8"
    assert alone.text == whole.json["toml"]
    assert post(client, TABLE, Accept="text/html").status_code == 406


def test_typed_cells_are_drafted_from_as_well(client: FlaskClient) -> None:
    rows = [
        ["Balance", "When", "Start [g]", "Loss [%]"],
        ["MA-07", {"t": "2026-03-17T06:55:00"}, {"n": "12", "format": "0.000"},
         {"n": "0.1668", "format": "0.00%"}],
    ]  # fmt: skip
    lines = [json.dumps(["Data", number, row]) for number, row in enumerate(rows, start=1)]
    draft = tomllib.loads(post(client, "\n".join(lines), CELLS).json["toml"])
    assert draft["table"] == {"sheet": "Data"}
    assert draft["columns"]["initial.indication"] == {"column": "Start [g]", "decimals": 3}
    assert draft["columns"]["performed_at"] == "When"
    assert "displayed_loss" in draft["columns"]


def test_the_query_states_what_cannot_be_found(client: FlaskClient) -> None:
    table = "Title\r\nA;B\r\n1;2\r\n"
    answer = post(client, table, query="?delimiter=%3B&header_row=2&encoding=cp1252")
    assert answer.json["read_as"] | {"assumed": None} == {
        "encoding": "cp1252",
        "delimiter": ";",
        "header_row": 2,
        "sheet": None,
        "assumed": None,
    }


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ("?check=loss", "check"),
        ("?delimiter=x", "delimiter"),
        ("?header_row=two", "header_row"),
        ("?header_row=-1", "header_row"),
        ("?encoding=utf-7", "encoding"),
        ("?mapping=x", "mapping"),
    ],
)
def test_a_query_that_cannot_be_is_refused(client: FlaskClient, query: str, said: str) -> None:
    answer = post(client, TABLE, query=query)
    assert answer.status_code == 422
    assert answer.json["type"] == "/problems/invalid"
    assert said in answer.json["errors"][0]["detail"]


@pytest.mark.parametrize(
    ("body", "kind", "status", "problem"),
    [
        ("a\0b;c\r\n", CSV, 422, "table-not-usable"),
        ("\r\n", CSV, 422, "table-not-usable"),
        ("1;2\r\n3;4\r\n", CSV, 422, "table-not-usable"),
        ('{"check": "span"}', "application/x-ndjson", 422, "invalid"),
        ("{}", "application/json", 415, "unsupported-media-type"),
    ],
)
def test_what_is_no_table_is_refused(
    client: FlaskClient, body: str, kind: str, status: int, problem: str
) -> None:
    answer = post(client, body, kind)
    assert (answer.status_code, answer.json["type"]) == (status, f"/problems/{problem}")


@pytest.mark.parametrize("first", ["[]", "[null, null]", '["", " "]'])
@pytest.mark.parametrize("query", ["", "?header_row=1"])
def test_an_empty_row_is_no_header(client: FlaskClient, first: str, query: str) -> None:
    answer = post(
        client, f'["S", 1, {first}]\n["S", 8, [{{"error": "#N/A"}}, "e"]]\n', CELLS, query
    )
    assert (answer.status_code, answer.json["type"]) == (422, "/problems/table-not-usable")
    (fault,) = answer.json["errors"]
    assert fault["code"] == "header-not-found"
