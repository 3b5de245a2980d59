"""A heater check on every way through the service: tables, batches, logbook, records, paper.

Kestrel Mill Foods, its probe, limits and readings are invented.
"""

import json
from copy import deepcopy
from typing import Any

import pytest

from weighworthy import Client, ProblemError
from weighworthy_service.checks.registry import BY_SLUG

EXAMPLE: dict[str, Any] = BY_SLUG["heater"].example["request"]
LIMITS = EXAMPLE["profile"]["rules"][0]["limits"]
PROFILE = {
    "id": "kestrel-heaters",
    "revision": "1",
    "title": "Invented",
    "rules": [{"checks": ["heater"], "limits": LIMITS, "schedule": {"every": "month"}}],
}
MAPPING = {
    "check": "heater",
    "time_zone": "Europe/Berlin",
    "columns": {
        "performed_at": {"columns": ["Datum", "Zeit"], "format": "%d.%m.%Y %H:%M"},
        "set_points.set": "Soll [°C]",
        "set_points.readings": {"columns": ["T1 [°C]", "T2 [°C]", "T3"], "unit": "Cel"},
        "set_points.displayed": {"column": "Anzeige", "unit": "Cel"},
        "set_points.settled_after": "Einlauf [min]",
    },
    "constants": {
        "instrument": {"id": "MA-07", "scale_interval": "1 mg"},
        "probe": EXAMPLE["probe"],
        "time_step": "1 min",
        "display_interval": "1 K",
        "profile": PROFILE,
    },
    "gather": {"by": ["Lauf"]},
}
TABLE = """\
Heizungspruefung;;;;;;;;
;;;;;;;;
Lauf;Datum;Zeit;Soll [°C];T1 [°C];T2 [°C];T3;Anzeige;Einlauf [min]
1;16.03.2026;08:00;60;60,6;60,4;60,5 °C;60;4
1;16.03.2026;08:20;105;106,2;106,5;;105;5
2;17.03.2026;08:00;60;60,6;60,4;60,5;60;4
2;17.03.2026;08:20;105;109,2;109,5;109,4;105;5
3;18.03.2026;08:00;60;60,6;heiss;60,5;60;4
3;18.03.2026;08:20;105;106,2;106,5;106,4;105;5
"""


@pytest.fixture(scope="module")
def client() -> Any:
    with Client.embedded() as inside:
        yield inside


def test_rows_of_a_table_are_its_set_points(client: Any, tmp_path: Any) -> None:
    path, out = tmp_path / "heizung.csv", tmp_path / "out.ndjson"
    path.write_text(TABLE, "cp1252")
    told = client.evaluate_table(path, MAPPING, out=out)
    assert (told.rows_judged, told.rows_in_error, told.checks) == (4, 2, 2)
    *lines, _ = [json.loads(line) for line in out.read_text("utf-8").splitlines()]
    answers = {tuple(line["rows"]): line["answer"] for line in lines if "answer" in line}
    first = answers[4, 5]["results"]["set_points"]
    # By hand: (60.6 + 60.4 + 60.5)/3; (106.2 + 106.5)/2 of the two cells that say something.
    assert [row["mean_reading"] for row in first] == [60.5, 106.35]
    assert [a["verdict"] for a in answers.values()] == ["pass", "fail"]
    (fault,) = [
        error
        for line in lines
        for error in line.get("problem", {}).get("errors", ())
        if error.get("cell") and "heiss" in error["cell"]
    ]
    assert fault["row"] == 8


def test_several_readings_in_one_cell(client: Any, tmp_path: Any) -> None:
    path, out = tmp_path / "cells.csv", tmp_path / "out.ndjson"
    path.write_text("Set;Read [°C]\n60;60,6 / 60,4\n105;106,2 / 106,4 / 106,6\n", "utf-8")
    mapping = deepcopy(MAPPING)
    mapping["columns"] = {
        "set_points.0.set": {"column": "Set", "unit": "Cel"},
        "set_points.0.readings": {"column": "Read [°C]", "separator": "/"},
    }
    del mapping["gather"]
    client.evaluate_table(path, mapping, out=out)
    lines = [json.loads(line) for line in out.read_text("utf-8").splitlines()]
    means = [line["answer"]["results"]["set_points"][0]["mean_reading"] for line in lines[:-1]]
    assert means == [60.5, 106.4]


@pytest.mark.parametrize(
    ("change", "place", "code"),
    [
        ({"unit": "K"}, "/columns/set_points.readings/unit", "unit-not-taken"),
        (
            {"columns": ["T1 [°C]", "Einlauf [min]"], "unit": None},
            "/columns/set_points.readings",
            "unit-differs",
        ),
    ],
)
def test_a_unit_that_is_no_temperature_is_refused(
    client: Any, tmp_path: Any, change: Any, place: str, code: str
) -> None:
    path = tmp_path / "heizung.csv"
    path.write_text(TABLE, "cp1252")
    mapping = deepcopy(MAPPING)
    del mapping["columns"]["set_points.settled_after"]
    mapping["columns"]["set_points.readings"] |= change
    with pytest.raises(ProblemError) as refused:
        client.evaluate_table(path, mapping, out=tmp_path / "out.csv")
    assert [(error.pointer, error.code) for error in refused.value.errors] == [(place, code)]


def test_one_line_of_a_batch_and_a_call_say_the_same(client: Any) -> None:
    fields = {name: value for name, value in EXAMPLE.items() if name != "check"}
    alone = client.check_heater(**fields)
    (line,) = client.evaluate_many([{"check": "heater", **fields}])
    assert line.data == alone.data
    assert alone.verdict == "pass"
    assert alone.criterion("temperature_error").unit == "K"
    assert alone.criterion("settling_time").unit == "s"


def test_short_leaves_out_budgets_and_what_shows(client: Any) -> None:
    fields = {name: value for name, value in EXAMPLE.items() if name != "check"}
    short = client.check_heater(**fields, detail="short").data
    assert "reveals" not in short["results"]
    assert {len(criterion["budget"]) for criterion in short["criteria"]} == {0}


@pytest.mark.parametrize(
    ("path", "value", "place", "code"),
    [
        (("probe", "corrections", 0, "at"), "100 Cel", "/probe/corrections/1/at", "not-rising"),
        (("probe", "interval"), "0.1 Cel", "/probe/interval", "unit-not-taken"),
        (("set_points", 0, "readings", 1), "60,4 Cel", "/set_points/0/readings/1", "decimal-comma"),
        (("set_points", 0, "readings", 1), "604 Cel", "/set_points/0/readings/1", "out-of-range"),
        (("set_points", 1, "set"), "105", "/set_points/1/set", "unit-missing"),
        (("set_points", 0, "readings"), [], "/set_points/0/readings", "too-few"),
        (("settled_within",), None, "/settled_within", "required"),
    ],
)
def test_what_is_wrong_is_named(
    client: Any, path: tuple[Any, ...], value: Any, place: str, code: str
) -> None:
    fields = deepcopy({name: value for name, value in EXAMPLE.items() if name != "check"})
    *above, last = path
    at: Any = fields
    for key in above:
        at = at[key]
    at[last] = value
    with pytest.raises(ProblemError) as refused:
        client.evaluate("heater", fields)
    assert (place, code) in [(error.pointer, error.code) for error in refused.value.errors]


def test_a_record_of_it_verifies(client: Any) -> None:
    fields = {name: value for name, value in EXAMPLE.items() if name != "check"}
    told = client.records.verify(client.records.seal("heater", fields))
    assert (told.agrees, told.others) == (True, ())


def entry(name: str, at: str, first: list[str]) -> dict[str, Any]:
    request = deepcopy(EXAMPLE) | {"check": "heater", "performed_at": at}
    del request["profile"]
    request["set_points"][0]["readings"] = first
    return {"id": name, "kind": "check", "at": at, "instrument": "MA-07", "request": request}


def test_a_logbook_with_heater_checks(client: Any) -> None:
    good, bad = ["60.6 Cel", "60.4 Cel"], ["64.6 Cel", "64.4 Cel"]
    entries = [
        entry("H1", "2026-03-01T08:00:00+01:00", good),
        entry("H2", "2026-03-16T08:00:00+01:00", bad),
    ]
    common = {
        "profile": PROFILE,
        "instruments": [EXAMPLE["instrument"]],
        "calendar": {"time_zone": "Europe/Berlin"},
    }
    before = client.logbook.status(entries[:1], at="2026-03-10T08:00:00+01:00", **common)
    after = client.logbook.status(entries, at="2026-03-17T08:00:00+01:00", **common)
    assert before.instruments[0]["state"] != after.instruments[0]["state"]
    result = {
        "id": "R1",
        "instrument": "MA-07",
        "at": "2026-03-10T08:00:00+01:00",
        "loss": "8.20 %",
        "initial_mass": "5 g",
    }
    support = client.logbook.support(
        entries, at="2026-03-17T08:00:00+01:00", results=[result], **common
    )
    (told,) = support.results
    text = json.dumps(told, default=str)
    assert "in doubt" in text or "in-doubt" in text
    assert "the method has to" in text
    assert "range-unknown" not in text
    drift = client.logbook.drift(entries, at="2026-03-17T08:00:00+01:00", **common)
    assert "temperature_error at 60 Cel" in json.dumps(drift.data, default=str)
