"""Profiles over HTTP: the set of the service, names, revisions, and the schema for editors."""

import json
import tomllib
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator
from marshmallow import ValidationError

from weighworthy_service.checks.registry import KINDS
from weighworthy_service.profiles.canonical import from_toml
from weighworthy_service.profiles.folder import FolderNotUsable
from weighworthy_service.web.app import create_app
from weighworthy_service.web.profile_schema import schema_bytes
from weighworthy_service.web.settings import Settings
from weighworthy_service.wire.profile import ProfileSchema

ROOT = Path(__file__).parents[2]
PUBLISHED = sorted((ROOT / "service/weighworthy_service/profiles/published").glob("*.toml"))
LOSS: dict[str, Any] = next(k for k in KINDS if k.slug == "simulated-loss").example["request"]

BASE = """id = "kestrel-base"
revision = "{revision}"
title = "Base (invented)"
{begin}
[[rules]]
checks = ["simulated-loss"]
limits.loss_error = {{ within = "{within}" }}
"""
HARBOUR = """id = "harbour"
revision = "1"
extends = "kestrel-base@1"
[[rules]]
sites = ["harbour"]
limits.loss_error = { within = "0.04 %" }
"""


@pytest.fixture
def client(tmp_path):
    """A service with a folder of three profiles."""
    first = BASE.format(revision="1", begin="", within="0.05 %")
    second = BASE.format(revision="2", begin="effective_from = 2026-03-01", within="0.03 %")
    (tmp_path / "base-1.toml").write_text(first)
    (tmp_path / "base-2.toml").write_text(second)
    (tmp_path / "harbour.toml").write_text(HARBOUR)
    return create_app(profiles=tmp_path).test_client()


def judged(client, profile, performed_at=None):
    request = {**LOSS, "profile": profile, "performed_at": performed_at}
    return client.post("/v1/checks/simulated-loss", json=request)


def test_the_list_has_every_revision(client, conforms):
    response = client.get("/v1/profiles")
    conforms("/v1/profiles", "GET", 200, response.content_type, response.data)
    listed = {(p["id"], p["revision"]): p for p in response.get_json()["profiles"]}
    assert {("kestrel-base", "1"), ("kestrel-base", "2"), ("harbour", "1")} <= set(listed)
    assert ("weighworthy-general", "1") in listed
    harbour = listed["harbour", "1"]
    assert harbour["extends"] == ["kestrel-base@1"]
    assert listed["kestrel-base", "2"]["effective_from"] == "2026-03-01"
    # The address that is given leads there.
    assert client.get(harbour["address"]).get_json()["digest"] == harbour["digest"]


def test_one_profile_is_whole_and_may_be_sent_along(client, conforms):
    response = client.get("/v1/profiles/harbour")
    conforms("/v1/profiles/{id}", "GET", 200, response.content_type, response.data)
    found = response.get_json()
    assert "extends" not in found["document"]
    assert [rule.get("sites") for rule in found["document"]["rules"]] == [None, ["harbour"]]
    by_name = judged(client, "harbour").get_json()
    sent_along = judged(client, found["document"]).get_json()
    assert by_name["profile"] == sent_along["profile"]
    assert by_name["profile"]["digest"] == found["digest"]


@pytest.mark.parametrize("address", ["/v1/profiles", "/v1/profiles/kestrel-base?revision=2"])
def test_what_did_not_change_is_not_sent_again(client, address):
    first = client.get(address)
    tag = first.headers["ETag"]
    again = client.get(address, headers={"If-None-Match": tag})
    assert (again.status_code, again.data) == (304, b"")
    assert again.headers["ETag"] == tag
    other = client.get(address, headers={"If-None-Match": '"something-else"'})
    assert (other.status_code, other.data) == (200, first.data)


def test_the_tag_of_a_profile_is_its_digest(client):
    response = client.get("/v1/profiles/harbour")
    assert response.headers["ETag"] == f'"{response.get_json()["digest"]}"'


@pytest.mark.parametrize(
    ("address", "status", "slug"),
    [
        ("/v1/profiles/nobody", 404, "not-found"),
        ("/v1/profiles/harbour?revision=9", 404, "not-found"),
        ("/v1/profiles/harbour?revision=", 404, "not-found"),
        ("/v1/profiles/..%2F..%2Fetc%2Fpasswd", 404, "not-found"),
        ("/v1/profiles/kestrel-base", 422, "profile-not-usable"),
        ("/v1/profiles/harbour?revison=1", 422, "invalid"),
        ("/v1/profiles/harbour?revision=1&revision=1", 422, "invalid"),
        ("/v1/profiles/kestrel-base@1?revision=2", 422, "invalid"),
        ("/v1/profiles/nobody@1?revision=1", 404, "not-found"),
        ("/v1/profiles/kestrel-base@9", 404, "not-found"),
        ("/v1/profiles?revision=1", 422, "invalid"),
    ],
)
def test_what_is_not_there_is_a_problem(client, conforms, address, status, slug):
    response = client.get(address)
    found = response.get_json()
    assert (response.status_code, found["type"]) == (status, f"/problems/{slug}")
    path = "/v1/profiles/{id}" if address.startswith("/v1/profiles/") else "/v1/profiles"
    conforms(path, "GET", status, response.content_type, response.data)


@pytest.mark.parametrize("name", ["review", "resolve", "compare", "card"])
def test_what_is_done_with_profiles_is_no_profile_to_be_read(client, name):
    response = client.get(f"/v1/profiles/{name}")
    assert response.status_code == 405
    assert {one.strip() for one in response.headers["Allow"].split(",")} == {"POST", "OPTIONS"}
    # A longer name that begins so is one.
    assert client.get(f"/v1/profiles/{name}s").status_code == 404


def test_a_profile_named_like_what_is_done_has_an_address_all_the_same(tmp_path):
    card = BASE.format(revision="1", begin="", within="0.05 %").replace("kestrel-base", "card")
    (tmp_path / "card.toml").write_text(card, "utf-8")
    client = create_app(profiles=tmp_path).test_client()
    listed = {p["id"]: p["address"] for p in client.get("/v1/profiles").get_json()["profiles"]}
    found = client.get(listed["card"])
    assert (found.status_code, found.get_json()["id"]) == (200, "card")


def test_an_address_of_two_revisions_is_a_contradiction(client):
    (error,) = client.get("/v1/profiles/kestrel-base@1?revision=2").get_json()["errors"]
    assert error["code"] == "contradiction"
    assert "'1'" in error["detail"]
    assert "'2'" in error["detail"]
    once = client.get("/v1/profiles/kestrel-base@2")
    twice = client.get("/v1/profiles/kestrel-base@2?revision=2")
    assert once.data == twice.data
    assert twice.get_json()["revision"] == "2"


def test_several_revisions_are_listed_where_none_is_named(client):
    detail = client.get("/v1/profiles/kestrel-base").get_json()["errors"][0]["detail"]
    assert "revisions: 1, 2 from 2026-03-01" in detail


@pytest.mark.parametrize(
    ("performed_at", "revision"),
    [
        ("2026-02-28T23:59:59+01:00", "1"),
        # The local date counts: in UTC it is still February.
        ("2026-03-01T00:30:00+01:00", "2"),
        ("2026-02-28T23:30:00-01:00", "1"),
    ],
)
def test_a_plain_name_means_the_revision_of_the_local_date(client, performed_at, revision):
    found = judged(client, "kestrel-base", performed_at).get_json()
    assert found["profile"]["revision"] == revision
    assert f"kestrel-base@{revision} /rules/0" in found["criteria"][0]["limit_source"]


def test_a_plain_name_without_a_date_is_refused_with_the_revisions(client):
    response = judged(client, "kestrel-base")
    (error,) = response.get_json()["errors"]
    assert response.status_code == 422
    assert (error["pointer"], error["code"]) == ("/profile", "revision-open")
    assert "2 from 2026-03-01" in error["detail"]


def test_old_revisions_stay_available(client):
    for revision, limit in (("1", 0.05), ("2", 0.03)):
        found = judged(client, f"kestrel-base@{revision}").get_json()
        assert found["profile"]["revision"] == revision
        assert found["criteria"][0]["upper_limit"] == limit


def test_a_verdict_names_the_document_that_set_the_limit(client):
    sources = [
        client.post(
            "/v1/checks/simulated-loss",
            json={**LOSS, "profile": "harbour", "instrument": {**LOSS["instrument"], "site": site}},
        ).get_json()["criteria"][0]
        for site in ("valley", "harbour")
    ]
    assert sources[0]["limit_source"] == "kestrel-base@1 /rules/0/limits/loss_error"
    assert sources[1]["limit_source"] == "harbour@1 /rules/0/limits/loss_error"


def test_a_profile_sent_along_may_build_on_a_known_one(client):
    child = {"id": "valley", "revision": "1", "extends": "kestrel-base@2", "rules": [{}]}
    found = judged(client, child).get_json()
    assert found["criteria"][0]["limit_source"] == "kestrel-base@2 /rules/0/limits/loss_error"
    looser = {**child, "rules": [{"limits": {"loss_error": {"within": "0.04 %"}}}]}
    response = judged(client, looser)
    assert response.status_code == 422
    assert response.get_json()["errors"][0]["pointer"] == "/profile/rules/0/limits/loss_error"
    assert response.get_json()["errors"][0]["code"] == "loosens"


@pytest.mark.parametrize(
    "extends",
    ["nobody@1", "harbour", {"id": "valley", "revision": "1", "rules": [{}]}, {}, [], 3],
)
def test_whatever_a_profile_builds_on_the_service_stays(client, extends):
    response = judged(client, {"id": "valley", "revision": "1", "extends": extends, "rules": [{}]})
    assert response.status_code in (200, 422)
    assert judged(client, "harbour").status_code == 200


def test_a_deep_lineage_is_refused_and_not_followed(client):
    document: dict[str, Any] = {"id": "p", "revision": "0", "rules": [{}]}
    for revision in range(1, 12):
        document = {"id": "p", "revision": str(revision), "extends": document, "rules": [{}]}
    response = judged(client, document)
    assert response.status_code == 422
    assert {e["code"] for e in response.get_json()["errors"]} == {"extends-too-deep"}


def test_the_name_of_a_known_profile_is_taken(client):
    response = judged(client, {"id": "harbour", "revision": "1", "rules": [{}]})
    assert response.get_json()["errors"][0]["code"] == "name-taken"


def test_a_broken_folder_makes_no_service(tmp_path):
    (tmp_path / "a.toml").write_text("id =")
    with pytest.raises(FolderNotUsable, match=r"a\.toml:1: "):
        create_app(Settings(anonymous="yes", profiles=tmp_path))


def test_readiness_says_how_many_profiles_are_served(client, conforms):
    response = client.get("/readyz")
    conforms("/readyz", "GET", 200, response.content_type, response.data)
    assert response.get_json() == {
        "status": "ok",
        "profiles": len(PUBLISHED) + 3,
        "not_reloaded": [],
    }


@pytest.fixture(scope="module")
def schema() -> Draft202012Validator:
    text = (ROOT / "openapi/profile.schema.json").read_bytes()
    assert text == schema_bytes(), "derive openapi/profile.schema.json anew"
    Draft202012Validator.check_schema(json.loads(text))
    return Draft202012Validator(json.loads(text))


@pytest.mark.parametrize("path", PUBLISHED, ids=lambda path: path.stem)
def test_the_schema_takes_the_profiles_that_come_along(schema, path):
    schema.validate(from_toml(path.read_text("utf-8")))
    # Readers of TOML that keep dates as dates write them as the same texts.
    assert tomllib.loads(path.read_text("utf-8"))["id"] == path.stem.replace("_", "-") or (
        path.stem == "general"
    )


WHOLE = {
    "id": "kestrel",
    "revision": "2026-03",
    "extends": {"id": "base", "revision": "1", "rules": [{}]},
    "effective_from": "2026-03-01",
    "use_on": ["pass"],
    "rules": [
        {
            "checks": ["span"],
            "limits": {
                "span_error": {
                    "bands": [
                        {"up_to": "5 % of capacity", "no_limit": True},
                        {"up_to": "50 g", "larger_of": [{"within": "1 mg"}, {"within": "2 d"}]},
                    ],
                    "source": "ours",
                }
            },
            "decision": {"rule": "guarded", "guard_factor": "1", "coverage": "95 %"},
            "validity": {"weights_at_most": "1/3 of limit", "rounds": {"at_least": 2}},
            "schedule": {"every": "day", "grace": "4 h", "after": ["moved"]},
            "start_window": {"target": "12 g", "allowance": "0.2 g"},
            "response": [{"step": "repeat", "times": 2}, {"step": "out-of-service"}],
        }
    ],
}
PROBES: list[tuple[tuple[str | int, ...], Any, bool]] = [
    ((), None, True),
    (("title",), None, True),
    (("extends",), "base@1", True),
    (("extends",), "Base", False),
    (("extends", "rules"), [], False),
    (("id",), "../kestrel", False),
    (("revision",), "a b", False),
    (("effective_from",), "1 March 2026", False),
    (("rules", 0, "sits"), ["harbour"], False),
    (("rules", 0, "limits", "span_error", "witin"), "1 mg", False),
    (("rules", 0, "limits", "span_error", "bands", 1, "up_to"), "50", False),
    (("rules", 0, "limits", "span_error", "bands", 0, "no_limit"), "yes", False),
    (("rules", 0, "limits", "span_error", "bands"), [], False),
    (("rules", 0, "decision", "rule"), "strict", False),
    (("rules", 0, "decision", "guard_factor"), 1, False),
    (("rules", 0, "validity", "weights_at_most"), "a third", False),
    (("rules", 0, "validity", "rounds", "else"), "no-pass", True),
    (("rules", 0, "validity", "rounds", "at_least"), 0, False),
    (("rules", 0, "schedule", "every"), "fortnight", False),
    (("rules", 0, "schedule", "every"), "24 h", True),
    (("rules", 0, "schedule", "every"), "-24 h", False),
    (("rules", 0, "schedule", "every"), "0.0 h", False),
    (("rules", 0, "schedule", "every"), "00.10 h", True),
    (("rules", 0, "schedule", "grace"), "0 h", True),
    (("rules", 0, "schedule", "grace"), "-0 h", False),
    (("rules", 0, "schedule", "grace"), "-4 h", False),
    (("rules", 0, "start_window", "allowance"), "0 g", True),
    (("rules", 0, "start_window", "allowance"), "-0.2 g", False),
    (("rules", 0, "start_window", "target"), "-12 g", False),
    (("rules", 0, "start_window", "target"), "0 g", False),
    (("rules", 0, "start_window", "target"), "0.001 g", True),
    (("rules", 0, "decision", "coverage"), "-95 %", False),
    (("rules", 0, "response", 0, "step"), "pray", False),
    (("rules",), [], False),
]


@pytest.mark.parametrize(("path", "value", "taken"), PROBES)
def test_the_schema_and_the_service_take_the_same(schema, path, value, taken):
    document = json.loads(json.dumps(WHOLE))
    inside: Any = document
    for key in path[:-1]:
        inside = inside[key]
    if path:
        inside[path[-1]] = value
    assert schema.is_valid(document) is taken
    assert _read(document) is taken


def test_patterns_forbid_no_sign_that_they_then_allow(schema):
    """Editors show them to people."""
    assert "(?!-)" not in json.dumps(schema.schema)
    assert "[1-9])-?" not in json.dumps(schema.schema)


def _read(document) -> bool:
    try:
        ProfileSchema().load(document)
        if isinstance(document.get("extends"), dict):
            ProfileSchema().load(document["extends"])
    except ValidationError:
        return False
    return True


def test_an_editor_knows_the_criteria(schema):
    """The service says so too, as a fault of meaning."""
    document = json.loads(json.dumps(WHOLE))
    document["rules"][0]["limits"] = {"span_eror": {"within": "1 mg"}}
    assert not schema.is_valid(document)
    known = schema.schema["$defs"]["Rule"]["properties"]["limits"]["properties"]
    assert set(known) == {criterion.name for kind in KINDS for criterion in kind.criteria}
