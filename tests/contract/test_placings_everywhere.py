"""Checks of placings wherever checks go: tables, batches, logbook, records, on paper, abroad.

Kestrel Mill Foods and all its readings are invented.
"""

import csv
import json
from decimal import Decimal
from io import BytesIO, StringIO
from typing import Any

import pytest

from weighworthy import Client

WEIGHTS = {"K20": {"nominal": "20 g", "weight_class": "OIML F1"}}
PROFILE: dict[str, Any] = {
    "id": "kestrel-placings",
    "revision": "1",
    "rules": [
        {
            "checks": ["repeatability"],
            "limits": {"standard_deviation": {"within": "1 mg"}},
            "schedule": {"every": "month"},
        },
        {
            "checks": ["eccentricity"],
            "limits": {"eccentricity": {"within": "3 mg"}, "position_error": {"within": "9 mg"}},
            "schedule": {"every": "month"},
        },
    ],
}
AT = "2026-03-16T09:00:00+01:00"
INSTRUMENT = {"id": "MA-07", "scale_interval": "1 mg", "capacity": "60 g"}
# In mg above 20 g. Standard deviations: of 0 0 0 0 1 √(0.8/4) = 0.447 mg, as the squares add up to
# 1 - 1/5; of 0 0 4 1 1 √(10.8/4) = 1.643 mg, as they add up to 18 - 36/5.
RUNS = {"17": ["0", "0", "0", "0", "1"], "18": ["0", "0", "4", "1", "1"]}


def request_of(run: str, **more: Any) -> dict[str, Any]:
    placings: list[dict[str, Any]] = [{"indication": f"20.00{mg} g"} for mg in RUNS[run]]
    placings[0]["zero"] = "0.000 g"
    return {
        "check": "repeatability",
        "instrument": INSTRUMENT,
        "weights": WEIGHTS,
        "profile": PROFILE,
        "load": ["K20"],
        "placings": placings,
        **more,
    }


# Differences to the centre in mg: -2, 1, 3, which is on the limit; -2, 1, 4 beyond it.
PANS = {"21": "3", "22": "4"}


def pan_of(run: str, **more: Any) -> dict[str, Any]:
    placed = zip(("centre", "front", "left", "right"), ("0", "-2", "1", PANS[run]), strict=True)
    placings: list[dict[str, Any]] = [
        {"position": position, "indication": f"{20 + Decimal(mg) / 1000:.3f} g"}
        for position, mg in placed
    ]
    placings[0]["zero"] = "0.000 g"
    common = {k: v for k, v in request_of("17").items() if k not in ("check", "placings")}
    return {"check": "eccentricity", **common, "placings": placings, **more}


def test_a_table_of_several_rows_a_check(client: Any) -> None:
    """Semicolons, decimal commas, a title above, a cell that is no number, lines in two blocks."""
    lines = ["Wiederholbarkeit 2026;;;", "Lauf;Gewicht;Null;Anzeige [g]"]
    for place in range(5):
        for run, above in RUNS.items():
            zero = "0,000" if place == 0 else ""
            lines.append(f"{run};K20;{zero};20,00{above[place]}")
    lines.append("19;K20;0,000;OVERLOAD")
    mapping = {
        "check": "repeatability",
        "table": {"header_row": 2},
        "columns": {
            "load": "Gewicht",
            "placings.zero": {"column": "Null", "unit": "g"},
            "placings.indication": {"column": "Anzeige [g]", "unit": "g"},
        },
        "constants": {"instrument": INSTRUMENT, "weights": WEIGHTS, "profile": PROFILE},
        "gather": {"by": ["Lauf"]},
    }
    parts = {
        "table": (BytesIO("\r\n".join(lines).encode("cp1252")), "t.csv"),
        "mapping": (BytesIO(json.dumps(mapping).encode()), "m.json"),
    }
    told = client.post("/v1/batches", data=parts, headers={"Accept": "text/csv"})
    assert told.status_code == 200, told.get_data(as_text=True)
    rows = list(csv.reader(StringIO(told.get_data(as_text=True).lstrip("\ufeff")), delimiter=";"))
    head = next(i for i, row in enumerate(rows) if "ww_verdict" in row)
    column = {name: i for i, name in enumerate(rows[head])}
    said = {
        row[0]: [row[column[f"ww_{n}"]] for n in ("outcome", "verdict", "criterion", "unit")]
        for row in rows[head + 1 :]
    }
    assert said["17"] == ["judged", "pass", "standard_deviation", "g"]
    assert said["18"] == ["judged", "fail", "standard_deviation", "g"]
    assert said["19"][0] == "error"


def test_lines_with_defaults(client: Any) -> None:
    first, second = request_of("17"), request_of("18")
    own = [{k: r[k] for k in ("placings",)} for r in (first, second)]
    defaults = {k: v for k, v in first.items() if k != "placings"}
    body = "\n".join(json.dumps(line) for line in ({"defaults": defaults}, *own))
    told = client.post("/v1/batches", data=body, content_type="application/x-ndjson")
    lines = [json.loads(line) for line in told.get_data(as_text=True).splitlines()]
    assert [line["answer"]["verdict"] for line in lines[:-1]] == ["pass", "fail"]
    alone = client.post("/v1/checks/repeatability", json=first).get_json()
    assert lines[0]["answer"] == alone


def test_short(client: Any) -> None:
    short = client.post("/v1/checks/repeatability?detail=short", json=request_of("17")).get_json()
    assert "reveals" not in short["results"]
    assert {tuple(c["budget"]) for c in short["criteria"]} == {()}


def test_a_logbook(client: Any) -> None:
    entries = [
        {
            "id": f"C-{run}",
            "kind": "check",
            "at": f"2026-03-{day}T08:00:00+01:00",
            "instrument": "MA-07",
            "request": request_of(run, performed_at=f"2026-03-{day}T08:00:00+01:00"),
        }
        for run, day in (("17", "02"), ("18", "16"))
    ]
    book = {
        "at": "2026-03-10T08:00:00+01:00",
        "profile": {**PROFILE, "rules": PROFILE["rules"][:1]},
        "instruments": [INSTRUMENT],
        "calendar": {"time_zone": "Europe/Berlin"},
        "entries": entries,
    }
    told = client.post("/v1/logbook/status", json=book).get_json()
    (balance,) = told["instruments"]
    assert (balance["state"], balance["usable"]) == ("in-service", True)
    told = client.post("/v1/logbook/status", json={**book, "at": AT})
    (balance,) = told.get_json()["instruments"]
    assert (balance["state"], balance["usable"]) == ("out-of-service", False)
    results = [
        {
            "id": "R-1",
            "instrument": "MA-07",
            "at": "2026-03-11T10:00:00+01:00",
            "loss": "20 %",
            "initial_mass": "5 g",
        }
    ]
    asked = {**book, "at": AT, "results": results}
    (result,) = client.post("/v1/logbook/support", json=asked).get_json()["results"]
    assert (result["state"], result["check"]) == ("in-doubt", "repeatability")
    (shift,) = result["shifts"]
    # Twice 1.6432 mg in both readings: 200·0.0016432/5·√(0.8² + 1) = 0.0842, rounded up.
    assert (shift["fault"], shift["value"]) == ("scatter", 0)
    assert shift["expanded_uncertainty"] == 0.085


def test_a_seal(client: Any) -> None:
    sealed = client.post("/v1/records/seal", json={"request": request_of("18"), "sealed_at": AT})
    assert sealed.status_code == 200, sealed.get_data(as_text=True)
    verified = client.post("/v1/records/verify", json=sealed.get_json()).get_json()
    assert verified["verdict"] == "same"


@pytest.mark.parametrize(
    ("lang", "words"), [("en", "Standard deviation"), ("de", "Standardabweichung")]
)
def test_on_paper(client: Any, lang: str, words: str) -> None:
    page = client.post(
        f"/v1/checks/repeatability?lang={lang}",
        json=request_of("17"),
        headers={"Accept": "text/html"},
    )
    assert page.status_code == 200
    assert words in page.get_data(as_text=True)


def test_a_review(client: Any) -> None:
    asked = {
        "profile": PROFILE,
        "instruments": [{**INSTRUMENT, "repeatability": "0.6 mg"}],
        "weights": WEIGHTS,
        "loads": {"repeatability": [["K20"]]},
    }
    found = client.post("/v1/profiles/review", json=asked).get_json()
    (row,) = found["judgement"]
    assert (row["criterion"], row["attainable"]) == ("standard_deviation", True)
    # A balance of 0.6 mg shows more than 1 mg if χ² of 9 exceeds 9/0.36 = 25: tables have 0.5 % at
    # 23.6 and 0.1 % at 27.9. One of 1.5 mg shows no more than 1 mg if it is below 4: 9 %.
    assert 0.001 < row["false_rejection"]["one_set"] < 0.005
    assert row["false_acceptance"]["one_set"] == pytest.approx(0.089, abs=0.001)


def test_from_python() -> None:
    asked = request_of("17")
    del asked["check"]
    with Client.embedded() as service:
        answer = service.check_repeatability(**asked)
    assert (answer.verdict, answer.usable) == ("pass", True)
    assert answer.criterion("standard_deviation").unit == "g"


def test_a_table_of_places(client: Any) -> None:
    lines = ["Run,Place,Zero,Shown"]
    for run in PANS:
        for placing in pan_of(run)["placings"]:
            shown = placing["indication"].removesuffix(" g")
            zero = placing.get("zero", "").removesuffix(" g")
            lines.append(f"{run},{placing['position']},{zero},{shown}")
    lines.append("23,front,0.000,20.000")
    mapping = {
        "check": "eccentricity",
        "columns": {
            "placings.position": "Place",
            "placings.zero": {"column": "Zero", "unit": "g"},
            "placings.indication": {"column": "Shown", "unit": "g"},
        },
        "constants": {
            "instrument": INSTRUMENT,
            "weights": WEIGHTS,
            "profile": PROFILE,
            "load": ["K20"],
        },
        "gather": {"by": ["Run"]},
    }
    parts = {
        "table": (BytesIO("\n".join(lines).encode()), "t.csv"),
        "mapping": (BytesIO(json.dumps(mapping).encode()), "m.json"),
    }
    told = client.post("/v1/batches", data=parts, headers={"Accept": "text/csv"})
    assert told.status_code == 200, told.get_data(as_text=True)
    rows = list(csv.DictReader(StringIO(told.get_data(as_text=True).lstrip("\ufeff"))))
    said = {row["Run"]: (row["ww_outcome"], row["ww_verdict"], row["ww_criterion"]) for row in rows}
    assert said["21"] == ("judged", "pass", "eccentricity")
    assert said["22"] == ("judged", "fail", "eccentricity")
    assert said["23"][0] == "error"
    assert "centre" in rows[-1]["ww_error"] or "3" in rows[-1]["ww_error"]


def test_eccentricity_in_a_logbook(client: Any) -> None:
    entries = [
        {
            "id": f"E-{run}",
            "kind": "check",
            "at": f"2026-03-{day}T08:00:00+01:00",
            "instrument": "MA-07",
            "request": pan_of(run),
        }
        for run, day in (("21", "02"), ("22", "16"))
    ]
    book = {
        "at": AT,
        "profile": {**PROFILE, "rules": PROFILE["rules"][1:]},
        "instruments": [INSTRUMENT],
        "calendar": {"time_zone": "Europe/Berlin"},
        "entries": entries,
        "results": [
            {
                "id": "R-1",
                "instrument": "MA-07",
                "at": "2026-03-11T10:00:00+01:00",
                "loss": "20 %",
                "initial_mass": "5 g",
            }
        ],
    }
    (balance,) = client.post("/v1/logbook/status", json=book | {"results": None}).get_json()[
        "instruments"
    ]
    assert (balance["state"], balance["usable"]) == ("out-of-service", False)
    (result,) = client.post("/v1/logbook/support", json=book).get_json()["results"]
    (shift,) = result["shifts"]
    # 4 mg at 20 g are 0.02 %, of the 80 % that are left.
    assert (shift["fault"], shift["expanded_uncertainty"]) == ("off-centre", 0.016)


def test_eccentricity_elsewhere(client: Any) -> None:
    """Short, sealed, on paper, reviewed, and from Python."""
    short = client.post("/v1/checks/eccentricity?detail=short", json=pan_of("21")).get_json()
    assert "reveals" not in short["results"]
    sealed = client.post("/v1/records/seal", json={"request": pan_of("22"), "sealed_at": AT})
    verified = client.post("/v1/records/verify", json=sealed.get_json()).get_json()
    assert verified["verdict"] == "same"
    html = {"Accept": "text/html"}
    page = client.post("/v1/checks/eccentricity?lang=de", json=pan_of("21"), headers=html)
    assert "Unterschied zur Mitte" in page.get_data(as_text=True)
    asked = {
        "profile": PROFILE,
        "instruments": [{**INSTRUMENT, "repeatability": "0.3 mg"}],
        "weights": WEIGHTS,
        "loads": {"eccentricity": [["K20"]]},
    }
    rows = client.post("/v1/profiles/review", json=asked).get_json()["judgement"]
    assert {row["criterion"] for row in rows} == {"eccentricity", "position_error"}
    request = pan_of("21")
    del request["check"]
    with Client.embedded() as service:
        answer = service.check_eccentricity(**request)
    assert (answer.verdict, answer.criterion("eccentricity").verdict) == ("pass", "pass")
