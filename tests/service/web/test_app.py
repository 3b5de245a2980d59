"""What every answer has, whatever was asked: headers, negotiation, methods, same bytes."""

import re
from typing import Any

import pytest
from flask.testing import FlaskClient

from weighworthy_service.checks.registry import KINDS
from weighworthy_service.web.document import document_bytes

SPAN = "/v1/checks/span"


@pytest.mark.parametrize(
    ("accept", "status"),
    [
        (None, 200),
        ("", 200),
        ("*/*", 200),
        ("application/json", 200),
        ("application/json; charset=utf-8", 200),
        ("application/json;q=0.5;charset=utf-8", 200),
        ("APPLICATION/JSON", 200),
        ("application/*", 200),
        ("text/html, application/json;q=0.1", 200),
        ("text/html, */*;q=0.01", 200),
        ("application/problem+json, application/json", 200),
        ("application/xml", 406),
        ("application/json;q=0", 406),
        ("application/problem+json", 406),
        ("garbage", 406),
    ],
)
def test_accept(accept: str | None, status: int, client: FlaskClient, span: dict[str, Any]) -> None:
    headers = {} if accept is None else {"Accept": accept}
    response = client.post(SPAN, json=span, headers=headers)
    assert response.status_code == status
    assert "Accept" in response.headers["Vary"]


@pytest.mark.parametrize(
    ("accept", "type_"),
    [
        ("text/html", "text/html"),
        ("*/*, application/json;q=0", "text/html"),
        ("text/*, image/png", "text/html"),
        ("*/*", "application/json"),
        ("text/html;q=0.5, application/json;q=0.5", "application/json"),
    ],
)
def test_a_page_where_it_outranks_json(
    accept: str, type_: str, client: FlaskClient, span: dict[str, Any]
) -> None:
    response = client.post(SPAN, json=span, headers={"Accept": accept})
    assert (response.status_code, response.mimetype) == (200, type_)


@pytest.mark.parametrize("sent", ["a", "A.b_c-9", "x" * 64])
def test_request_id_is_echoed(sent: str, client: FlaskClient) -> None:
    assert client.get("/livez", headers={"X-Request-Id": sent}).headers["X-Request-Id"] == sent


@pytest.mark.parametrize("sent", [None, "", "x" * 65, "a b", "ä", "a/b"])
def test_request_id_is_made_where_none_can_be_echoed(sent: str, client: FlaskClient) -> None:
    headers = {} if sent is None else {"X-Request-Id": sent}
    made = [client.get("/livez", headers=headers).headers["X-Request-Id"] for _ in range(2)]
    assert made[0] != made[1]
    assert all(re.fullmatch("[A-Za-z0-9._-]{1,64}", one) and one != sent for one in made)


@pytest.mark.parametrize("path", [SPAN, "/v1/info", "/nothing", "/problems/invalid"])
def test_security_headers(path: str, client: FlaskClient) -> None:
    headers = client.get(path).headers
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["Content-Security-Policy"].startswith("default-src 'none'")
    assert headers["Referrer-Policy"] == "no-referrer"


def test_answers_are_not_stored_on_the_way(client: FlaskClient, span: dict[str, Any]) -> None:
    response = client.post(SPAN, json=span)
    assert response.headers["Cache-Control"] == "no-store"
    assert "request_id" not in response.get_json()


def test_same_request_same_bytes(client: FlaskClient, span: dict[str, Any]) -> None:
    first = client.post(SPAN, json=span, headers={"X-Request-Id": "1"})
    second = client.post(SPAN, json=span, headers={"X-Request-Id": "2"})
    assert first.data == second.data


def test_null_is_absence(client: FlaskClient, span: dict[str, Any]) -> None:
    bare = client.post(SPAN, json=span)
    span["instrument"]["loss_interval"] = span["method"] = span["profile"] = None
    span["weights"]["KM-9"] = span["rounds"][0]["stage"] = span["check"] = None
    span["labels"]["nothing"] = None
    nulls = client.post(SPAN, json=span)
    del span["rounds"][0]["stage"]  # as-found is what is meant without a stage
    absent = client.post(SPAN, json=span)
    assert nulls.data == absent.data
    assert nulls.get_json()["verdict"] == bare.get_json()["verdict"] == "pass"


def test_labels_come_back_and_change_nothing_else(
    client: FlaskClient, span: dict[str, Any]
) -> None:
    span["labels"] = {"a": "", "ü": "𝄞 \\u0000 \n"}
    labelled = client.post(SPAN, json=span).get_json()
    del span["labels"]
    plain = client.post(SPAN, json=span).get_json()
    assert labelled.pop("labels") == {"a": "", "ü": "𝄞 \\u0000 \n"}
    assert plain.pop("labels") == {}
    assert labelled == plain


def test_short(client: FlaskClient, span: dict[str, Any]) -> None:
    full = client.post(f"{SPAN}?detail=full", json=span).get_json()
    short = client.post(f"{SPAN}?detail=short", json=span).get_json()
    assert all(criterion["budget"] for criterion in full["criteria"])
    for criterion in full["criteria"]:
        criterion["budget"] = []
    full["results"].pop("reveals", None)
    assert short == full


def test_expected_profile_digest(client: FlaskClient, span: dict[str, Any]) -> None:
    in_force = client.get("/v1/info").get_json()["default_profile"]["digest"]
    span["expect_profile_digest"] = in_force
    response = client.post(SPAN, json=span)
    assert response.status_code == 200
    assert response.get_json()["profile"]["digest"] == in_force


@pytest.mark.parametrize(
    "path", ["/v1/checks", "/v1/info", "/livez", "/readyz", "/openapi.json", "/problems/invalid"]
)
def test_head_is_get_without_the_body(path: str, client: FlaskClient) -> None:
    got, head = client.get(path), client.head(path)
    assert head.status_code == got.status_code == 200
    assert head.data == b""
    assert head.headers["Content-Length"] == str(len(got.data))


def test_options_names_the_methods(client: FlaskClient) -> None:
    for path, methods in ((SPAN, {"POST", "OPTIONS"}), ("/v1/info", {"GET", "HEAD", "OPTIONS"})):
        response = client.options(path)
        assert response.status_code == 200
        assert set(response.headers["Allow"].split(", ")) == methods


@pytest.mark.parametrize("method", ["GET", "HEAD", "PUT", "PATCH", "DELETE", "TRACE"])
def test_other_methods_are_refused_with_those_allowed(method: str, client: FlaskClient) -> None:
    response = client.open(SPAN, method=method)
    assert response.status_code == 405
    assert set(response.headers["Allow"].split(", ")) == {"POST", "OPTIONS"}


@pytest.mark.parametrize("path", ["/", "/v1/checks/", "//v1//checks", "/V1/checks", "/static/x"])
def test_nothing_is_guessed_about_addresses(path: str, client: FlaskClient) -> None:
    response = client.get(path)
    assert response.status_code == 404
    assert response.content_type == "application/problem+json"


def test_openapi_document_is_served_with_its_etag(client: FlaskClient) -> None:
    response = client.get("/openapi.json")
    assert response.data == document_bytes()
    again = client.get("/openapi.json", headers={"If-None-Match": response.headers["ETag"]})
    assert (again.status_code, again.data) == (304, b"")
    other = client.get("/openapi.json", headers={"If-None-Match": '"other"'})
    assert other.status_code == 200


def test_kinds_are_listed_with_what_they_take(client: FlaskClient) -> None:
    listed = client.get("/v1/checks").get_json()["checks"]
    assert [kind["check"] for kind in listed] == [kind.slug for kind in KINDS]
    for kind in listed:
        assert client.post(kind["address"], json=kind["example"]).status_code == 200
        assert kind["about"]
        assert kind["criteria"]
