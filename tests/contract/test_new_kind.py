"""A kind of check is a folder and an entry: all that works with kinds works with new ones."""

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from weighworthy import Client
from weighworthy.cli import main

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
    # Two readings in steps of 1 mg: u = √(2/12) mg = 0.408 mg, k = 2, U = 0.8165 mg. Besides, with
    # s = 0.6 mg, u = √(2/12 + 0.36) mg = 0.726 mg; ν = 9 · (0.726/0.6)⁴ = 19, of which Student's
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
    assert found["remarks"][0]["code"] == "limit-excludes-zero"


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


def asked_card(new_kinds: Any, slug: str) -> dict[str, Any]:
    body = {"profile": new_kinds.profile, "instrument": new_kinds.instrument, "check": slug}
    of_load = {"load": ["KM-20"], "weights": new_kinds.weights}
    return {**body, **of_load} if slug == "creep" else body


def test_it_has_a_bench_card_of_its_form_and_limits(http: Any, new_kinds: Any, slug: str) -> None:
    answered = http.post("/v1/profiles/card", json=asked_card(new_kinds, slug))
    assert answered.status_code == 200, answered.get_data(as_text=True)
    card = answered.get_json()
    assert (card["can_pass"], card["usable"], card["readings"]) == (True, True, [])
    limit = {"creep": ("-0.006 g", "0.006 g"), "unrest": (None, "0.005 g")}[slug]
    (combined,) = card["combined"]
    assert (combined["title"], combined["lower_limit"], combined["upper_limit"]) == (slug, *limit)
    steps = " ".join(step["text"] for step in card["steps"])
    assert "Write down readings, 2 or more; of each: " in steps
    assert ("KM-20 (20 g)" in steps) is (slug == "creep")
    assert card["schedule"] == {"creep": "every month", "unrest": "every week"}[slug]


@pytest.mark.parametrize("media_type", ["text/plain", "text/html"])
def test_people_can_read_its_card(http: Any, new_kinds: Any, slug: str, media_type: str) -> None:
    body, accept = asked_card(new_kinds, slug), {"Accept": media_type}
    text = http.post("/v1/profiles/card", json=body, headers=accept).get_data(as_text=True)
    within = {"creep": "creep within 6 mg", "unrest": "unrest at most +5 mg"}[slug]
    assert within in text
    assert "of each: " in text


@pytest.mark.parametrize(
    ("slug", "more", "fault"),
    [
        ("creep", {"load": None}, ("/load", "required")),
        ("creep", {"weights": None}, ("/weights", "required")),
        ("creep", {"load": [["KM-20"], ["KM-20"]]}, ("/load", "too-many")),
        ("creep", {"load": ["KM-50"]}, ("/load/0", "weight-not-declared")),
        ("creep", {"initial": ["KM-20"]}, ("/initial", "not-for-check")),
        ("creep", {"loads": {}}, ("/loads", "not-for-check")),
        ("unrest", {"load": ["KM-20"]}, ("/load", "not-for-check")),
    ],
)
def test_what_its_card_cannot_be_asked_with(
    http: Any, new_kinds: Any, slug: str, more: dict[str, Any], fault: tuple[str, str]
) -> None:
    answered = http.post("/v1/profiles/card", json={**asked_card(new_kinds, slug), **more})
    assert answered.status_code == 422
    errors = [(error["pointer"], error["code"]) for error in answered.get_json()["errors"]]
    assert errors == [fault]


def test_a_card_of_what_cannot_pass_says_so(http: Any, new_kinds: Any) -> None:
    body = asked_card(new_kinds, "creep")
    weights = {"KM-20": {**new_kinds.weights["KM-20"], "nominal": "200 g"}}
    card = http.post("/v1/profiles/card", json={**body, "weights": weights}).get_json()
    assert (card["can_pass"], card["spoils"]) == (False, "void")
    assert any("above the capacity" in obstacle for obstacle in card["obstacles"])
    text = http.post(
        "/v1/profiles/card", json={**body, "weights": weights}, headers={"Accept": "text/plain"}
    ).get_data(as_text=True)
    assert "DO NOT START" in text


def test_a_kind_that_cannot_be_rehearsed_has_no_card(
    http: Any, new_kinds: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    known = new_kinds.module("weighworthy_service.checks.registry").BY_SLUG
    monkeypatch.setitem(known, "unrest", replace(known["unrest"], rehearse=lambda *_: ()))
    answered = http.post("/v1/profiles/card", json=asked_card(new_kinds, "unrest"))
    assert answered.status_code == 422
    (error,) = answered.get_json()["errors"]
    assert (error["pointer"], error["code"]) == ("/check", "not-one-of")
    assert error["detail"] == "there is no bench card of a unrest check"


def test_a_client_without_a_method_for_it_evaluates_it(new_kinds: Any, slug: str) -> None:
    with Client.embedded() as client:
        answer = client.evaluate(slug, new_kinds.requests[slug])
    assert (answer.check, answer.verdict, answer.usable) == (slug, "pass", True)
    assert answer.criterion(slug).unit == "g"


def test_the_command_judges_reviews_and_makes_cards(
    new_kinds: Any, slug: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    def written(name: str, content: Any) -> str:
        (tmp_path / name).write_text(json.dumps(content), "utf-8")
        return str(tmp_path / name)

    assert main(["check", slug, written("check.json", new_kinds.requests[slug])]) == 0
    assert "PASS" in capsys.readouterr().out.upper()
    profile = written("profile.json", new_kinds.profile)
    site = tmp_path / "site.toml"
    site.write_text(
        '[instruments.MA-09]\nscale_interval = "1 mg"\ncapacity = "60 g"\n'
        '[weights.KM-20]\nnominal = "20 g"\nweight_class = "OIML F1"\n',
        "utf-8",
    )
    here = ["--site", str(site)]
    load = ["--load", "creep", "KM-20"]
    assert main(["profiles", "review", profile, *here, *load]) == 0
    assert f"{slug} " in capsys.readouterr().out
    one = ["--instrument", "MA-09", "--check", slug]
    load = ["--load", "KM-20"] if slug == "creep" else []
    assert main(["profiles", "card", profile, *here, *one, *load]) == 0
    assert f"BENCH CARD: {slug.upper()}" in capsys.readouterr().out
    assert main(["profiles", "resolve", profile, *here, *one, *load]) == 0
    limit = {"creep": "within ±6 mg", "unrest": "at most 5 mg"}[slug]
    assert limit in capsys.readouterr().out
    if slug == "creep":
        assert main(["profiles", "card", profile, *here, *one, *load, *load]) == 2
        assert "--load: a creep check has one load" in capsys.readouterr().err
