"""Every refusal that the service can give, provoked, and held against the published document."""

from collections.abc import Callable
from copy import deepcopy
from hashlib import sha256
from io import BytesIO
from typing import Any

import pytest
from flask import abort
from flask.testing import FlaskClient
from jsonschema import Draft202012Validator

from weighworthy_service.checks.registry import KINDS
from weighworthy_service.web import views
from weighworthy_service.web.app import create_app
from weighworthy_service.web.keys import Key
from weighworthy_service.web.settings import Settings
from weighworthy_service.wire.problem import PROBLEMS

SPAN = "/v1/checks/span"
JSON = "application/json"
# Limits on rates are the proxy's; only rows have incomplete groups (tests/service/tables); being
# too slow needs a socket (test_batches_live).
ELSEWHERE = {"group-incomplete", "rate-limited", "too-slow"}
BATCHES = "/v1/batches"
NDJSON = "application/x-ndjson"
SIMPLE = """
check = "simulated-loss"
[columns]
displayed_loss = "Loss"
[constants]
instrument = { scale_interval = "1 mg", loss_interval = "0.01 %" }
weights.A = { nominal = "10 g", weight_class = "OIML F1" }
weights.B = { nominal = "2 g", weight_class = "OIML F1" }
initial = { load = ["A", "B"] }
final = { load = ["A"] }
"""


def example() -> dict[str, Any]:
    return deepcopy(KINDS[0].example["request"])


# slug -> (method, path, arguments of the test client)
PROVOKED: dict[str, tuple[str, str, dict[str, Any]]] = {
    "malformed-json": ("POST", SPAN, {"data": b"{", "content_type": JSON}),
    "key-missing": ("POST", SPAN, {"json": {}}),
    "key-not-allowed": ("POST", SPAN, {"json": {}, "headers": {"Authorization": "Bearer no"}}),
    "cross-site": ("POST", SPAN, {"json": {}, "headers": {"Sec-Fetch-Site": "cross-site"}}),
    "not-found": ("GET", "/v1/checks/spin", {}),
    "method-not-allowed": ("GET", SPAN, {}),
    "not-acceptable": ("POST", SPAN, {"json": {}, "headers": {"Accept": "image/png"}}),
    "digest-differs": (
        "POST",
        SPAN,
        {"json": {**example(), "expect_profile_digest": "sha256:" + "0" * 64}},
    ),
    "length-required": (
        "POST",
        SPAN,
        {"data": b"{}", "content_type": JSON, "headers": {"Transfer-Encoding": "chunked"}},
    ),
    "too-large": ("POST", SPAN, {"data": b" " * (1 << 20) + b"{}", "content_type": JSON}),
    "unsupported-media-type": ("POST", SPAN, {"data": b"{}", "content_type": "text/plain"}),
    "invalid": ("POST", SPAN, {"json": {}}),
    "profile-not-usable": ("POST", SPAN, {"json": {**example(), "profile": "unheard-of"}}),
    "body-incomplete": (
        "POST",
        BATCHES,
        {"data": b"no gzip", "content_type": NDJSON, "headers": {"Content-Encoding": "gzip"}},
    ),
    "table-not-usable": (
        "POST",
        BATCHES,
        {"data": {"table": (BytesIO(b"a\0b"), "t.csv"), "mapping": SIMPLE}},
    ),
    "mapping-not-usable": (
        "POST",
        BATCHES,
        {"data": {"table": (BytesIO(b"a;b"), "t.csv"), "mapping": "check = 1"}},
    ),
    "internal": ("POST", SPAN, {"json": example()}),
    "overloaded": ("POST", "/v1/profiles/review", {"json": {}}),
}


def test_every_kind_of_problem_is_provoked_here_or_elsewhere() -> None:
    assert set(PROVOKED) | ELSEWHERE == set(PROBLEMS)


@pytest.mark.parametrize("slug", PROVOKED)
def test_provoked(
    slug: str,
    component: Callable[[str], Draft202012Validator],
    conforms: Callable[..., None],
    monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
) -> None:
    settings = None
    if slug.startswith("key-"):
        settings = Settings(keys=frozenset({Key(sha256(b"a key").digest())}))
    if slug == "cross-site":
        settings = Settings("loopback")
    if slug == "overloaded":
        settings = Settings("yes", heavy=0)
    if slug == "internal":

        def fail(*_: object, **__: object) -> None:
            raise RuntimeError("secret cause")

        monkeypatch.setattr(views, "tally_of_one", fail)
    method, path, arguments = PROVOKED[slug]
    arguments = deepcopy(arguments)
    arguments["headers"] = {"X-Request-Id": "kmf.7-a_B", **arguments.get("headers", {})}

    response = create_app(settings).test_client().open(path, method=method, **arguments)

    assert response.status_code == PROBLEMS[slug].status
    assert response.content_type == "application/problem+json"
    body = response.get_json()
    component("Problem").validate(body)
    assert body["type"] == f"/problems/{slug}"
    assert body["title"] == PROBLEMS[slug].title
    assert body["request_id"] == response.headers["X-Request-Id"] == "kmf.7-a_B"
    if method == "POST":
        conforms(path, method, response.status_code, response.content_type, response.data)
    assert ("Retry-After" in response.headers) == (slug == "overloaded")
    if slug == "internal":
        assert b"secret cause" not in response.data
        assert b"Traceback" not in response.data
        assert "kmf.7-a_B" in caplog.text
        assert "secret cause" in caplog.text


@pytest.mark.parametrize("slug", PROBLEMS)
def test_type_leads_to_a_page_that_says_what_to_do(slug: str, client: FlaskClient) -> None:
    response = client.get(f"/problems/{slug}")
    assert response.status_code == 200
    assert response.content_type == "text/html; charset=utf-8"
    assert f"/problems/{slug}" in response.text
    assert "What to do" in response.text
    assert "<script" not in response.text


def test_page_of_no_problem_is_not_found(client: FlaskClient) -> None:
    response = client.get("/problems/<script>")
    assert response.status_code == 404
    assert response.get_json()["type"] == "/problems/not-found"


def test_four_faults_are_told_at_once(client: FlaskClient) -> None:
    request = example()
    request["instrument"]["scale_interval"] = 0.001
    request["weights"]["KM-20"]["weightclass"] = "OIML F1"
    request["rounds"][1]["indication"] = "20,002 g"
    request["profile"] = {"id": "kestrel", "revision": "1", "title": "t", "rules": "none"}
    body = client.post(SPAN, json=request).get_json()
    assert [(error["pointer"], error["code"]) for error in body["errors"]] == [
        ("/instrument/scale_interval", "unit-missing"),
        ("/weights/KM-20/weightclass", "unknown-field"),
        ("/rounds/1/indication", "decimal-comma"),
        ("/profile/rules", "wrong-type"),
    ]
    assert 'did you mean "weight_class"?' in body["errors"][1]["detail"]


def test_at_most_a_hundred_faults(client: FlaskClient) -> None:
    request = {**example(), "rounds": [{"zero": 1, "indication": 1, "zero_after": 1}] * 100}
    assert len(client.post(SPAN, json=request).get_json()["errors"]) == 100


@pytest.mark.parametrize(
    ("change", "pointer", "code"),
    [
        ({"load": ["KM-21"]}, "/rounds/0/load/0", "weight-not-declared"),
        ({"load": ["KM-20", "KM-20"]}, "/rounds/0/load", "weight-twice"),
        ({"zero": None}, "/rounds/0/zero", "required"),
        ({"load": []}, "/rounds/0/load", "too-few"),
        ({"stage": "adjustment"}, "/rounds/1/stage", "stage-order"),
    ],
)
def test_what_cannot_be_meant(
    change: dict[str, Any], pointer: str, code: str, client: FlaskClient
) -> None:
    request = example()
    request["rounds"][0] |= change
    response = client.post(SPAN, json=request)
    assert response.status_code == 422
    assert (pointer, code) in [(e["pointer"], e["code"]) for e in response.get_json()["errors"]]


@pytest.mark.parametrize("indication", ["0 g", "-12.002 g", "0.000 mg"])
def test_a_loss_needs_an_initial_load(indication: str, client: FlaskClient) -> None:
    request = deepcopy(KINDS[2].example["request"])
    request["initial"]["indication"] = indication
    response = client.post("/v1/checks/simulated-loss", json=request)
    assert response.status_code == 422
    assert response.get_json()["errors"][0]["pointer"] == "/initial/indication"


@pytest.mark.parametrize("body", [b"[]", b'"text"', b"3", b"null", b"true"])
def test_a_body_that_is_no_object_is_invalid_as_a_whole(body: bytes, client: FlaskClient) -> None:
    response = client.post(SPAN, data=body, content_type=JSON)
    assert response.status_code == 422
    assert [e["pointer"] for e in response.get_json()["errors"]] == [""]


def test_check_that_disagrees_with_the_address(client: FlaskClient) -> None:
    response = client.post(SPAN, json={**example(), "check": "linearity"})
    assert [e["pointer"] for e in response.get_json()["errors"]] == ["/check"]


@pytest.mark.parametrize(
    ("query", "code", "names"),
    [
        ("detail=long", "not-one-of", "detail"),
        ("detail=", "not-one-of", "detail"),
        ("detail=full&detail=short", "too-many", "detail"),
        ("detial=short", "unknown-parameter", "detial"),
        ("lang=fr", "not-one-of", "lang"),
    ],
)
def test_query(query: str, code: str, names: str, client: FlaskClient) -> None:
    response = client.post(f"{SPAN}?{query}", json=example())
    assert response.status_code == 422
    (error,) = response.get_json()["errors"]
    assert error["code"] == code
    assert names in error["detail"]


def test_flaws_of_an_inline_profile_point_into_the_request(client: FlaskClient) -> None:
    profile = {
        "id": "kestrel",
        "revision": "1",
        "title": "t",
        "rules": [{"limits": {"span_eror": {"within": "1 mg"}}}],
    }
    response = client.post(SPAN, json={**example(), "profile": profile})
    assert response.status_code == 422
    body = response.get_json()
    assert body["type"] == "/problems/profile-not-usable"
    assert body["errors"][0]["pointer"] == "/profile/rules/0/limits/span_eror"


def test_rules_that_contradict_each_other_only_in_this_check(client: FlaskClient) -> None:
    profile = {
        "id": "kestrel",
        "revision": "1",
        "title": "t",
        "rules": [
            {"checks": ["span"], "limits": {"span_error": {"within": "3 d"}}},
            # Rounds to a place of its own, which a limit in d does not have.
            {"sites": ["harbour"], "decision": {"rule": "simple", "rounding": "rounding"}},
        ],
    }
    response = client.post(SPAN, json={**example(), "profile": profile})
    assert response.status_code == 422
    body = response.get_json()
    assert body["type"] == "/problems/profile-not-usable"
    assert body["errors"][0]["pointer"].startswith("/profile/rules/1/decision")


def test_a_status_nobody_foresaw_is_a_failure_of_the_service(
    caplog: pytest.LogCaptureFixture,
) -> None:
    app = create_app()
    app.add_url_rule("/teapot", view_func=lambda: abort(418))
    response = app.test_client().get("/teapot")
    assert response.status_code == 500
    assert response.get_json()["type"] == "/problems/internal"
    assert "418" in caplog.text
