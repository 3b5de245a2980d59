"""Blank runs and reference materials wherever a check can go: tables, batches, logbook, records,
reviews, reports. Kestrel Mill Foods and its readings are invented."""

import io
import json
from typing import Any

import pytest
from flask.testing import FlaskClient

from weighworthy import Client
from weighworthy_service.checks.registry import BY_SLUG
from weighworthy_service.web.app import create_app

NDJSON = "application/x-ndjson"
SLUGS = ("blank-run", "reference-material")
BLANKS = """\
Leerläufe Halle 2;;;;
;;;;
Lauf;Datum;Anfang [mg];Ende [mg];Kammer
A;16.03.2026 07:40;0;-2;105
A;16.03.2026 08:00;1;-1;105
B;17.03.2026 07:40;0;-6,0;105
B;17.03.2026 08:00;0;OVERLOAD;105
C;18.03.2026 07:40;0;-6,0;105
"""
MATERIALS = """\
Run,When,Before,After,Lot
1,2026-03-16 09:00,3.012 g,2.542 g,T-26
1,2026-03-16 09:30,3.006 g,2.535 g,T-26
2,2026-03-17 09:00,3.000 g,2.500 g,T-26
2,2026-03-17 09:30,3.000 g,2.501 g,T-26
"""


@pytest.fixture(scope="module")
def http() -> FlaskClient:
    return create_app().test_client()


def profile(**rule: Any) -> dict[str, Any]:
    limits = {
        "zero_change": {"within": "5 mg"},
        "bias": {"within": "0.2 %"},
        "scatter": {"upper": "0.1 %"},
    }
    return {"id": "kestrel", "revision": "1", "title": "K", "rules": [{"limits": limits, **rule}]}


def rows_of(http: FlaskClient, table: str, mapping: dict[str, Any]) -> list[dict[str, Any]]:
    constants = {"instrument": {"scale_interval": "1 mg"}, **mapping.pop("constants")}
    whole = {"id": "kestrel", "time_zone": "Europe/Berlin", "constants": constants, **mapping}
    parts = {
        name: (io.BytesIO(text.encode()), file)
        for name, text, file in (
            ("table", table, "runs.csv"),
            ("mapping", json.dumps(whole), "m.json"),
            ("profile", json.dumps(profile()), "p.json"),
        )
    }
    answered = http.post("/v1/batches", data=parts, headers={"Accept": NDJSON})
    assert answered.status_code == 200, answered.get_data(as_text=True)
    return [json.loads(line) for line in answered.data.splitlines()]


def test_blank_runs_are_gathered_from_an_untidy_table(http: FlaskClient) -> None:
    columns = {
        "performed_at": {"column": "Datum", "format": "%d.%m.%Y %H:%M"},
        "runs.initial": {"column": "Anfang [mg]", "unit": "mg"},
        "runs.final": {"column": "Ende [mg]", "unit": "mg"},
        "runs.chamber_temperature": {"column": "Kammer", "unit": "Cel"},
    }
    *checks, _ = rows_of(
        http,
        BLANKS,
        {
            "check": "blank-run",
            "table": {"decimal": ","},
            "columns": columns,
            "constants": {"sample_mass": "5 g"},
            "gather": {"by": ["Lauf"]},
        },
    )
    by_rows = {tuple(line["rows"]): line for line in checks}
    passing = by_rows[4, 5]["answer"]
    # Both fall by 2 mg; that of 6 mg is more than 5.
    assert passing["verdict"] == "pass"
    assert [run["change"] for run in passing["results"]["runs"]] == [-0.002, -0.002]
    assert by_rows[8,]["answer"]["verdict"] == "fail"
    # A run that cannot be read is named, and its fellow is not judged without it.
    assert "Ende" in json.dumps(by_rows[7,]["problem"])
    assert by_rows[6,]["problem"]["type"].endswith("group-incomplete")


def test_runs_of_a_material_are_gathered(http: FlaskClient) -> None:
    columns = {
        "performed_at": {"column": "When", "format": "%Y-%m-%d %H:%M"},
        "runs.initial_mass": "Before",
        "runs.final_mass": "After",
        "material.lot": "Lot",
    }
    first, second, _ = rows_of(
        http,
        MATERIALS,
        {
            "check": "reference-material",
            "table": {"decimal": "."},
            "columns": columns,
            "constants": {"material": {"stated_loss": "15.64 %", "standard_uncertainty": "0.02 %"}},
            "gather": {"by": ["Run"]},
        },
    )
    # 15.6042 and 15.6687: mean 15.6365; 16.667 and 16.633 lie a whole point off.
    assert first["answer"]["verdict"] == "pass"
    assert first["answer"]["results"]["mean_loss"] == pytest.approx(15.6365, abs=0.00005)
    assert second["answer"]["verdict"] == "fail"


def test_a_line_each_of_a_batch_and_short_answers(http: FlaskClient) -> None:
    requests = [{**BY_SLUG[slug].example["request"], "check": slug} for slug in SLUGS]
    answered = http.post(
        "/v1/batches", data="\n".join(map(json.dumps, requests)), content_type=NDJSON
    )
    *lines, _ = [json.loads(line) for line in answered.data.splitlines()]
    for slug, line in zip(SLUGS, lines, strict=True):
        assert line["answer"] == BY_SLUG[slug].example["answer"]
        short = http.post(
            f"/v1/checks/{slug}?detail=short", json=BY_SLUG[slug].example["request"]
        ).get_json()
        assert "reveals" not in short["results"]
        assert short["criteria"][0]["budget"] == []


def test_they_are_due_fail_and_say_what_that_does_to_a_result(http: FlaskClient) -> None:
    schedule = {"every": "week", "grace": "1 day"}
    due = {"checks": [*SLUGS], "schedule": {**schedule, "grace": "24 h"}}
    rules = [{"limits": profile()["rules"][0]["limits"]}, due]

    def entry(slug: str, day: int, **changed: Any) -> dict[str, Any]:
        request = {**BY_SLUG[slug].example["request"], "check": slug, **changed}
        request.pop("profile")
        request["performed_at"] = f"2026-03-{day:02}T08:00:00+01:00"
        return {"id": f"{slug}-{day}", "kind": "check", "request": request}

    fallen = [{"initial": "0 g", "final": "-0.020 g", "chamber_temperature": "105 Cel"}]
    book = {
        "at": "2026-03-19T08:00:00+01:00",
        "profile": {**profile(), "rules": rules},
        "calendar": {"time_zone": "Europe/Berlin"},
        "entries": [
            entry("blank-run", 2),
            entry("reference-material", 3),
            entry("blank-run", 18, runs=fallen),
        ],
    }
    status = http.post("/v1/logbook/status", json=book).get_json()
    (balance,) = status["instruments"]
    kinds = {check["check"]: check["state"] for check in balance["checks"]}
    assert balance["state"] == "out-of-service"
    # Passed on the 3rd; due after a week and a day's grace.
    assert kinds["reference-material"] == "overdue"
    result = {
        "id": "R-1",
        "instrument": "MA-07",
        "at": "2026-03-10T09:00:00+01:00",
        "loss": "10.0 %",
        "initial_mass": "4 g",
    }
    support = http.post("/v1/logbook/support", json={**book, "results": [result]}).get_json()
    (said,) = support["results"]
    # -100·(-0.020 g)/4 g
    shifts = [s for s in said["shifts"] if s["fault"] == "hot-zero-change"]
    assert [s["value"] for s in shifts] == [0.5]


@pytest.mark.parametrize("slug", SLUGS)
def test_a_record_is_sealed_and_verified(http: FlaskClient, slug: str) -> None:
    request = {**BY_SLUG[slug].example["request"], "check": slug}
    body = {"request": request, "sealed_at": "2026-03-16T15:00:00+01:00"}
    record = http.post("/v1/records/seal", json=body)
    found = http.post("/v1/records/verify", data=record.data, content_type="application/json")
    assert found.get_json()["agrees"] is True
    altered = record.data.replace(b"MA-07", b"MA-08", 1)
    again = http.post("/v1/records/verify", data=altered, content_type="application/json")
    assert again.get_json()["agrees"] is False


def test_a_review_takes_what_each_needs(http: FlaskClient) -> None:
    loads = {
        "blank-run": {"sample_mass": "5 g"},
        "reference-material": {"initial_mass": "3 g", "stated_loss": "15.66 %"},
    }
    balance = {"scale_interval": "1 mg", "repeatability": "0.6 mg", "id": "MA-07"}
    asked = {"profile": profile(), "instruments": [balance], "loads": loads}
    found = http.post("/v1/profiles/review", json=asked).get_json()
    rows = {row["criterion"]: row for row in found["judgement"]}
    assert {"zero_change", "bias", "scatter"} <= set(rows)
    # u = √(2/12 + 0.36) = 0.7257 mg, k = 2: 1.46 up to 1.5 mg.
    assert rows["zero_change"]["expanded_uncertainty"] == 0.0015
    assert rows["zero_change"]["attainable"]


@pytest.mark.parametrize(
    ("slug", "words"),
    [
        ("blank-run", ("Leerlauf", "Änderung der Null durch einen Lauf", "Eine falsche Spanne")),
        ("reference-material", ("Referenzmaterial", "Wiederfindung", "Sicherheitsdatenblatt")),
    ],
)
def test_on_paper_in_german(http: FlaskClient, slug: str, words: tuple[str, ...]) -> None:
    answered = http.post(
        f"/v1/checks/{slug}?lang=de",
        json=BY_SLUG[slug].example["request"],
        headers={"Accept": "text/html"},
    )
    page = answered.get_data(as_text=True)
    assert answered.status_code == 200
    assert [word for word in words if word not in page] == []


def test_by_the_client() -> None:
    with Client.embedded() as client:
        for slug in SLUGS:
            example = BY_SLUG[slug].example
            method = getattr(client, f"check_{slug.replace('-', '_')}")
            assert method(**example["request"]).verdict == example["answer"]["verdict"]
