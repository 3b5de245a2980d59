"""What is made of checks works with kinds that nothing knows by name: tables, logbook, records,
reports."""

import csv
import io
import json
import re
from typing import Any

import pytest

KINDS = ("creep", "unrest")
NDJSON = "application/x-ndjson"
# Kestrel Mill Foods is invented. Three readings a check; the second check of creep is short of 6 mg
# by nothing, 20.007 g - 20.001 g, the third is over it by 1 mg.
CREEP = """\
Run,When,Minute,Reading [g],Stable
A,2026-03-16 07:40,0,20.001,yes
A,2026-03-16 07:40,5,20.002,yes
A,2026-03-16 07:40,10,20.004,yes
B,2026-04-16 07:40,0,20.001,yes
B,2026-04-16 07:40,5,20.003,yes
B,2026-04-16 07:40,10,20.007,yes
C,2026-05-18 07:40,0,20.001,yes
C,2026-05-18 07:40,5,20.003,yes
C,2026-05-18 07:40,10,20.008,yes
"""
MAPPING = {
    "id": "kestrel-creep",
    "check": "creep",
    "time_zone": "Europe/Berlin",
    "table": {"decimal": "."},
    "columns": {
        "performed_at": {"column": "When", "format": "%Y-%m-%d %H:%M"},
        "readings.at": {"column": "Minute", "unit": "min"},
        "readings.indication": "Reading [g]",
        "readings.stable": {"column": "Stable", "values": {"yes": True, "no": False}},
    },
    "gather": {"by": ["Run"], "order": "Minute", "complete": 3},
}
RESULTS = [
    {
        "id": "R-1",
        "instrument": "MA-09",
        "at": "2026-04-20T09:00:00+02:00",
        "loss": "15.7 %",
        "initial_mass": "2 g",
        "upper_limit": "16 %",
    }
]


@pytest.fixture(scope="module")
def http(new_kinds: Any) -> Any:
    return new_kinds.http()


@pytest.fixture(params=KINDS)
def slug(request: pytest.FixtureRequest) -> str:
    return str(request.param)


def told(answered: Any) -> Any:
    assert answered.status_code == 200, answered.get_data(as_text=True)
    return answered.get_json()


def lines(answered: Any) -> list[dict[str, Any]]:
    assert answered.status_code == 200, answered.get_data(as_text=True)
    return [json.loads(line) for line in answered.data.splitlines()]


def table(http: Any, new_kinds: Any, accept: str) -> Any:
    instrument, weights = new_kinds.instrument, new_kinds.weights
    constants = {"instrument": instrument, "weights": weights, "load": ["KM-20"]}
    mapping = {**MAPPING, "constants": constants}
    parts = {
        name: (io.BytesIO(text.encode()), file)
        for name, text, file in (
            ("table", CREEP, "creep.csv"),
            ("mapping", json.dumps(mapping), "creep.json"),
            ("profile", json.dumps(new_kinds.profile), "profile.json"),
        )
    }
    return http.post("/v1/batches", data=parts, headers={"Accept": accept})


def performed(new_kinds: Any, slug: str, month: int, **changed: Any) -> dict[str, Any]:
    """A request of the kind in a month of 2026."""
    request = {**new_kinds.requests[slug], "check": slug, **changed}
    return {**request, "performed_at": f"2026-{month:02}-16T07:40:00+01:00"}


def logbook(new_kinds: Any, *, months: range = range(3, 7)) -> dict[str, Any]:
    """Checks of both kinds each month; the last of each fails by far."""
    far = {
        "creep": [{"at": "0 s", "indication": "20 g"}, {"at": "600 s", "indication": "20.02 g"}],
        "unrest": [{"indication": "0 g"}, {"indication": "0.02 g"}],
    }
    entries = [
        {
            "id": f"{slug}-{month}",
            "kind": "check",
            "request": performed(
                new_kinds, slug, month, **({"readings": far[slug]} if month == months[-1] else {})
            ),
        }
        for slug in KINDS
        for month in months
    ]
    return {
        "at": "2026-06-20T06:00:00+02:00",
        "profile": new_kinds.profile,
        "calendar": {"time_zone": "Europe/Berlin"},
        "instruments": [new_kinds.instrument],
        "entries": entries,
    }


def test_a_batch_has_a_line_for_each(http: Any, new_kinds: Any) -> None:
    requests = [performed(new_kinds, slug, 3) for slug in KINDS]
    body = "\n".join(map(json.dumps, requests))
    headers = {"Accept": NDJSON}
    *checks, summary = lines(
        http.post("/v1/batches", data=body, content_type=NDJSON, headers=headers)
    )
    assert [line["answer"]["check"] for line in checks] == [*KINDS]
    assert summary["summary"]["verdicts"]["pass"] == 2


def test_rows_of_a_table_are_gathered_into_checks(http: Any, new_kinds: Any) -> None:
    *checks, _ = lines(table(http, new_kinds, NDJSON))
    assert [line["answer"]["verdict"] for line in checks] == ["pass", "pass", "fail"]
    # A value on the limit is inside.
    assert [line["answer"]["criteria"][0]["value"] for line in checks] == [0.003, 0.006, 0.007]


def test_a_table_comes_back_with_verdicts(http: Any, new_kinds: Any) -> None:
    answered = table(http, new_kinds, "text/csv")
    assert answered.status_code == 200, answered.get_data(as_text=True)
    rows = [*csv.DictReader(io.StringIO(answered.data.decode("utf-8-sig"), newline=""))]
    assert [row["ww_verdict"] for row in rows] == ["pass"] * 6 + ["fail"] * 3
    assert {row["ww_criterion"] for row in rows} == {"creep"}
    assert {(row["ww_unit"], row["ww_check"]) for row in rows} == {("g", "creep")}


def test_a_mapping_is_drafted_by_the_names_of_fields(http: Any) -> None:
    answered = http.post("/v1/mappings/draft?check=creep", data=CREEP, content_type="text/csv")
    toml = told(answered)["toml"]
    assert 'check = "creep"' in toml
    assert '"readings.indication" = "Reading [g]"' in toml
    assert '"readings.stable" = ' in toml
    assert "[gather]" in toml
    # What a row does not tell is asked for: the load, and the weights it is made of.
    assert '# load = ["W1"]' in toml
    assert "# weights.W1" in toml
    unrest = told(
        http.post("/v1/mappings/draft?check=unrest", data=CREEP, content_type="text/csv")
    )["toml"]
    assert "# weights.W1" not in unrest


def test_titles_that_name_a_kind_draft_it(http: Any) -> None:
    text = CREEP.replace("Run", "Creep run")
    answered = http.post("/v1/mappings/draft", data=text, content_type="text/csv")
    assert 'check = "creep"' in told(answered)["toml"]


def test_a_logbook_asks_for_what_the_profile_asks_for(http: Any, new_kinds: Any) -> None:
    (one,) = told(http.post("/v1/logbook/status", json=logbook(new_kinds)))["instruments"]
    assert one["state"] == "out-of-service"
    assert {check["check"]: check["state"] for check in one["checks"]} == dict.fromkeys(
        KINDS, "failed"
    )
    empty = {**logbook(new_kinds), "entries": []}
    (one,) = told(http.post("/v1/logbook/status", json=empty))["instruments"]
    assert {check["state"] for check in one["checks"]} == {"never"}


def test_what_their_failures_do_to_a_result_is_said_to_be_unknown(
    http: Any, new_kinds: Any
) -> None:
    # Of unrest, every week, the last before the result is overdue: so look at creep alone.
    rules = [rule for rule in new_kinds.profile["rules"] if rule.get("checks") != ["unrest"]]
    document = {
        **logbook(new_kinds),
        "profile": {**new_kinds.profile, "rules": rules},
        "results": RESULTS,
    }
    document["entries"] = [e for e in document["entries"] if e["id"] in ("creep-4", "creep-6")]
    (one,) = told(http.post("/v1/logbook/support", json=document))["results"]
    assert (one["state"], one["check"], one["needs"]) == ("in-doubt", "creep", "action")
    assert one["crossing"] == "unknown"
    assert [(shift["fault"], shift["value"]) for shift in one["shifts"]] == [("not-told", None)]
    assert "does not tell what its error does" in one["shifts"][0]["sentence"]


def test_whether_a_pass_covers_a_result_stays_open(http: Any, new_kinds: Any) -> None:
    rules = [rule for rule in new_kinds.profile["rules"] if rule.get("checks") != ["unrest"]]
    document = {
        **logbook(new_kinds),
        "profile": {**new_kinds.profile, "rules": rules},
        "results": RESULTS,
    }
    document["entries"] = [e for e in document["entries"] if e["id"] in ("creep-4", "creep-5")]
    (one,) = told(http.post("/v1/logbook/support", json=document))["results"]
    assert one["state"] == "supported"
    assert {finding["code"] for finding in one["findings"]} == {"range-unknown"}


def test_their_values_are_followed_over_time(http: Any, new_kinds: Any) -> None:
    series = told(http.post("/v1/logbook/drift", json=logbook(new_kinds)))["series"]
    found = {one["criterion"]: [point["value"] for point in one["points"]] for one in series}
    assert found == {"creep": [0.003] * 3 + [0.02], "unrest": [0.003] * 3 + [0.02]}


def test_signals_and_intervals_take_them_as_they_are(http: Any, new_kinds: Any) -> None:
    document = logbook(new_kinds)
    changed = {
        "id": "W-1",
        "kind": "weights-replaced",
        "at": "2026-05-01T08:00:00+02:00",
        "instrument": "MA-09",
    }
    document["entries"].append(changed)
    signals = told(http.post("/v1/logbook/signals", json=document))
    # Nothing says that equal figures are equal readings, nor that they rest on the weights.
    assert signals["equal_readings"] == []
    assert signals["weights"] == []
    intervals = told(http.post("/v1/logbook/intervals", json=logbook(new_kinds)))
    assert json.dumps(intervals).count('"creep"') > 0


@pytest.mark.parametrize("language", ["en", "de"])
def test_it_has_a_whole_report(http: Any, new_kinds: Any, slug: str, language: str) -> None:
    asked = {"Accept": "text/html"}
    url = f"/v1/checks/{slug}?lang={language}"
    page = http.post(url, json=new_kinds.requests[slug], headers=asked)
    assert page.status_code == 200, page.get_data(as_text=True)
    text = re.sub(r"<[^>]+>", " ", page.get_data(as_text=True).partition("</style>")[2])
    # Its own name has no German, and stands in English.
    assert slug.capitalize() in text
    wanted = {
        "en": ["Readings", "Indication", "Uncertainty budgets", "What this check cannot see"],
        "de": ["Anzeigen", "Unsicherheitsbudgets", "Was diese Überprüfung nicht sehen kann"],
    }
    assert [word for word in wanted[language] if word not in text] == []
    mark = "," if language == "de" else "."
    assert (f"20{mark}004\N{NO-BREAK SPACE}g" in text) == (slug == "creep")
    assert ("KM/2026/014" in text) == (slug == "creep")
    stored = told(http.post(f"/v1/checks/{slug}", json=new_kinds.requests[slug]))
    kept = http.post(f"/v1/reports?lang={language}", json={"answer": stored})
    assert kept.status_code == 200, kept.get_data(as_text=True)


@pytest.mark.parametrize("language", ["en", "de"])
@pytest.mark.parametrize("what", ["status", "drift"])
def test_a_logbook_with_it_has_a_report(
    http: Any, new_kinds: Any, what: str, language: str
) -> None:
    asked = {"Accept": "text/html"}
    url = f"/v1/logbook/{what}?lang={language}"
    page = http.post(url, json=logbook(new_kinds), headers=asked)
    assert page.status_code == 200, page.get_data(as_text=True)
    assert {"Creep", "Unrest"} <= set(re.findall(r"\w+", page.get_data(as_text=True)))


def test_a_batch_with_it_has_a_report(http: Any, new_kinds: Any) -> None:
    page = table(http, new_kinds, "text/html")
    assert page.status_code == 200, page.get_data(as_text=True)
    assert "Creep" in page.get_data(as_text=True)


def test_a_record_of_it_is_sealed_and_verified(http: Any, new_kinds: Any, slug: str) -> None:
    request = {**new_kinds.requests[slug], "check": slug}
    body = {"request": request, "sealed_at": "2026-03-16T08:00:00+01:00"}
    record = http.post("/v1/records/seal", json=body)
    assert record.status_code == 200, record.get_data(as_text=True)
    found = told(http.post("/v1/records/verify", data=record.data, content_type="application/json"))
    assert found["agrees"] is True
    altered = record.data.replace(b"KM-20" if slug == "creep" else b"MA-09", b"KM-21", 1)
    again = http.post("/v1/records/verify", data=altered, content_type="application/json")
    assert again.status_code != 200 or told(again)["agrees"] is False


def test_the_page_about_the_interface_has_it(http: Any, slug: str) -> None:
    assert f"/v1/checks/{slug}" in http.get("/docs").get_data(as_text=True)


def test_they_take_part_in_a_sitting(http: Any, new_kinds: Any) -> None:
    """Judged and concluded with; of causes such a kind says nothing, and that is told."""
    checks = [{"check": slug, **new_kinds.requests[slug]} for slug in KINDS]
    common = {"instrument": checks[0]["instrument"]}
    answered = http.post("/v1/sittings", json={**common, "checks": checks})
    assert answered.status_code == 200, answered.get_data(as_text=True)
    answer = answered.get_json()
    assert [one["check"] for one in answer["answers"]] == list(KINDS)
    assert answer["evidence"]["silent"] == [0, 1]
    assert answer["because"]
