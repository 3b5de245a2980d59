"""A kind of check is a folder and an entry: all that works with kinds works with new ones."""

import json
from typing import Any

import pytest

KINDS = ("creep", "unrest")


@pytest.fixture(scope="module")
def http(new_kinds: Any) -> Any:
    return new_kinds.http()


@pytest.fixture(params=KINDS)
def slug(request: pytest.FixtureRequest) -> str:
    return str(request.param)


def test_its_address_judges(http: Any, new_kinds: Any, slug: str) -> None:
    answered = http.post(f"/v1/checks/{slug}", json=new_kinds.requests[slug])
    assert answered.status_code == 200, answered.get_data(as_text=True)
    answer = answered.get_json()
    assert (answer["check"], answer["verdict"], answer["usable"]) == (slug, "pass", True)
    assert answer["criteria"][0]["value"] == 0.003  # see `REQUESTS`


def test_short_and_with_a_clear_no_to_an_explanation(http: Any, new_kinds: Any, slug: str) -> None:
    body = new_kinds.requests[slug]
    assert http.post(f"/v1/checks/{slug}?detail=short", json=body).get_json()["verdict"] == "pass"
    explained = http.post(f"/v1/checks/{slug}?explain=true", json=body)
    assert explained.status_code == 422
    assert f"{slug} checks have no explanation" in explained.get_data(as_text=True)


def test_it_is_listed_and_described(http: Any, slug: str) -> None:
    listed = {kind["check"]: kind for kind in http.get("/v1/checks").get_json()["checks"]}
    assert listed[slug]["criteria"] == [{"name": slug, "unit": "g"}]
    document = http.get("/openapi.json").get_json()
    assert f"/v1/checks/{slug}" in document["paths"]
    assert json.dumps(document).count(f'"{slug}"') > 1


def test_its_limits_are_reviewed(http: Any, new_kinds: Any) -> None:
    body = {
        "profile": new_kinds.profile,
        "instruments": [new_kinds.instrument],
        "weights": new_kinds.weights,
        "loads": {"creep": [["KM-20"]]},
    }
    found = http.post("/v1/profiles/review", json=body).get_json()
    assert found["well_formed"] is True
    rows = {row["criterion"]: row for row in found["judgement"]}
    assert sorted(rows) == ["creep", "unrest"]
    assert rows["creep"]["load"] == 20
    assert rows["unrest"]["load"] is None
    # Two readings in steps of 1 mg: u = √(2/12) mg = 0.408 mg, k = 2, U = 0.8165 mg. With s = 0.6 mg
    # besides, u = √(2/12 + 0.36) mg = 0.726 mg; ν = 9 · (0.726/0.6)⁴ = 19, of which Student's
    # t at 95.45 % is 2.14 (tables), and U = 1.55 mg. Both are stated with two digits, rounded up.
    assert rows["unrest"]["expanded_uncertainty"] == 0.00082
    assert rows["creep"]["expanded_uncertainty"] == 0.0016
    assert all(row["attainable"] for row in rows.values())
    assert all(0 <= row["false_rejection"]["one_set"] < 0.01 for row in rows.values())


def test_a_limit_below_a_step_is_not_attainable(http: Any, new_kinds: Any) -> None:
    rules = [{"limits": {"unrest": {"lower": "0.2 mg", "upper": "0.4 mg"}}}]
    body = {
        "profile": {**new_kinds.profile, "rules": rules},
        "instruments": [new_kinds.instrument],
    }
    found = http.post("/v1/profiles/review", json=body).get_json()
    assert [remark["code"] for remark in found["remarks"]][0] == "limit-excludes-zero"


def test_loads_that_are_not_there_are_named_where_they_stand(http: Any, new_kinds: Any) -> None:
    body = {
        "profile": new_kinds.profile,
        "instruments": [new_kinds.instrument],
        "weights": new_kinds.weights,
        "loads": {"creep": [["KM-20"], ["KM-50"]]},
    }
    answered = http.post("/v1/profiles/review", json=body)
    assert answered.status_code == 422
    assert [error["pointer"] for error in answered.get_json()["errors"]] == ["/loads/creep/1/0"]
    without = http.post("/v1/profiles/review", json={**body, "loads": {}}).get_json()
    assert [remark["code"] for remark in without["remarks"]].count("not-judged") == 1


def test_a_profile_resolves_and_compares_for_it(http: Any, new_kinds: Any, slug: str) -> None:
    asked = {"profile": new_kinds.profile, "instrument": new_kinds.instrument, "check": slug}
    settings = http.post("/v1/profiles/resolve", json=asked).get_json()["settings"]
    assert {f"limits.{slug}", "schedule"} <= {setting["name"] for setting in settings}
    looser = {"limits": {"creep": {"within": "8 mg"}, "unrest": {"upper": "8 mg"}}}
    body = {
        "before": {"profile": new_kinds.profile},
        "after": {"profile": {**new_kinds.profile, "rules": [looser]}},
        "instruments": [new_kinds.instrument],
        "requests": [{**new_kinds.requests[slug], "check": slug}],
    }
    compared = http.post("/v1/profiles/compare", json=body)
    assert compared.status_code == 200, compared.get_data(as_text=True)
    found = compared.get_json()
    changed = {row["name"]: row["change"] for row in found["settings"] if row["check"] == slug}
    assert changed[f"limits.{slug}"] == "looser"
    assert found["verdicts"]["unchanged_counts"] == {"pass": 1}
