"""Who is let in: keys, this machine, everybody; a proxy on this machine never opens the door."""

import io
from hashlib import sha256
from itertools import product

import pytest

from weighworthy_service.web.app import create_app
from weighworthy_service.web.keys import SCOPES, Key, Scope
from weighworthy_service.web.metrics import Metrics
from weighworthy_service.web.observing import observe
from weighworthy_service.web.request_log import request_log
from weighworthy_service.web.settings import Settings

KEY = "kmf-harbour-1"
DIGEST = sha256(KEY.encode()).digest()
KEYED = Settings(keys=frozenset({Key(DIGEST), Key(bytes(32))}))
LOOPBACK = Settings(anonymous="loopback")
BOTH = Settings(anonymous="loopback", keys=KEYED.keys)
OPEN = Settings(anonymous="yes")


def status(
    settings: Settings,
    path: str = "/v1/info",
    peer: str = "127.0.0.1",
    host: str = "localhost",
    **headers: str,
) -> int:
    sent = {name.replace("_", "-"): value for name, value in headers.items()}
    client = create_app(settings).test_client()
    response = client.get(
        path, base_url=f"http://{host}", headers=sent, environ_overrides={"REMOTE_ADDR": peer}
    )
    if response.status_code in (401, 403):
        assert response.headers["WWW-Authenticate"] == "Bearer"
        assert response.content_type == "application/problem+json"
    return response.status_code


@pytest.mark.parametrize(
    ("authorization", "expected"),
    [
        (f"Bearer {KEY}", 200),
        (f"bearer {KEY}", 200),
        ("Bearer another", 403),
        ("Bearer ", 401),
        (f"Basic {KEY}", 401),
        (KEY, 401),
        ("", 401),
    ],
)
def test_keys(authorization: str, expected: int) -> None:
    assert status(KEYED, Authorization=authorization) == expected


def test_without_authorization_even_from_this_machine() -> None:
    assert status(KEYED) == 401


@pytest.mark.parametrize("path", ["/livez", "/readyz", "/openapi.json", "/problems/invalid"])
def test_open_addresses(path: str) -> None:
    assert status(KEYED, path) == 200


@pytest.mark.parametrize("path", ["/v1/info", "/v1/checks", "/v1/nothing", "/v1"])
def test_guarded_addresses(path: str) -> None:
    assert status(KEYED, path) == 401


@pytest.mark.parametrize(
    ("peer", "host"),
    [
        ("127.0.0.1", "localhost"),
        ("127.9.9.9", "127.0.0.1:8000"),
        ("::1", "[::1]:8000"),
        ("::ffff:127.0.0.1", "[::1]"),
    ],
)
def test_this_machine_is_let_in(peer: str, host: str) -> None:
    assert status(LOOPBACK, peer=peer, host=host) == 200


@pytest.mark.parametrize("peer", ["192.0.2.7", "2001:db8::1", "::ffff:192.0.2.7", ""])
def test_other_machines_are_not(peer: str) -> None:
    assert status(LOOPBACK, peer=peer) == 401


@pytest.mark.parametrize(
    "header",
    [
        "Forwarded",
        "X_Forwarded_For",
        "X_Forwarded_Proto",
        "X_Forwarded_Any",
        "X_Forwarded",
        "X_Original_Forwarded_For",
        "X_Real_IP",
        "X_Client_IP",
        "X_Cluster_Client_IP",
        "X_Envoy_External_Address",
        "CF_Connecting_IP",
        "True_Client_IP",
        "CDN_Loop",
        "Via",
    ],
)
def test_a_proxy_on_this_machine_opens_nothing(header: str) -> None:
    assert status(LOOPBACK, **{header: "127.0.0.1"}) == 401


def test_a_proxy_that_says_nothing_of_itself_is_known_by_the_version_it_speaks() -> None:
    """As nginx does where nothing but `proxy_pass` is set: no header, HTTP/1.0."""
    client = create_app(LOOPBACK).test_client()
    old = client.get("/v1/info", environ_overrides={"SERVER_PROTOCOL": "HTTP/1.0"})
    assert old.status_code == 401


def test_a_page_in_a_browser_here_under_another_name_opens_nothing() -> None:
    assert status(LOOPBACK, host="rebound.example:8000") == 401


def asked_by_a_browser(settings: Settings, method: str = "POST", **headers: str) -> str | int:
    """The kind of the refusal, or the status of what was let in."""
    sent = {name.replace("_", "-"): value for name, value in headers.items()}
    client = create_app(settings).test_client()
    reply = client.open("/v1/checks/span", method=method, headers=sent, json={})
    if reply.status_code != 403:
        return reply.status_code
    assert reply.content_type == "application/problem+json"
    assert "WWW-Authenticate" not in reply.headers  # a key would not be the answer
    return str(reply.get_json(force=True)["type"]).removeprefix("/problems/")


@pytest.mark.parametrize(
    "headers",
    [
        {"Sec_Fetch_Site": "cross-site"},
        {"Sec_Fetch_Site": "same-site"},  # another port of this machine, another page
        {"Origin": "https://pages.example"},
        {"Origin": "null"},  # a file, or a frame that is fenced in
        {"Origin": "http://localhost:3000"},
        {"Origin": "https://localhost"},  # the same name, but not by this service
        {"Origin": "http://localhost", "Sec_Fetch_Site": "cross-site"},
    ],
)
def test_a_page_of_another_site_has_nothing_judged_here(headers: dict[str, str]) -> None:
    """It could not read the answer, but fill the service with work."""
    assert asked_by_a_browser(LOOPBACK, **headers) == "cross-site"


@pytest.mark.parametrize(
    "headers",
    [
        {},  # no browser
        {"Sec_Fetch_Site": "none"},  # the person at the address bar
        {"Sec_Fetch_Site": "same-origin", "Origin": "http://localhost"},
        {"Origin": "http://LOCALHOST"},
    ],
)
def test_a_page_of_the_service_itself_may_ask(headers: dict[str, str]) -> None:
    assert asked_by_a_browser(LOOPBACK, **headers) == 422


def test_where_a_key_is_needed_or_anybody_may_ask_no_page_is_looked_at() -> None:
    page = {"Sec_Fetch_Site": "cross-site", "Origin": "https://lims.example"}
    assert asked_by_a_browser(BOTH, Authorization=f"Bearer {KEY}", **page) == 422
    assert asked_by_a_browser(OPEN, **page) == 422
    assert asked_by_a_browser(KEYED, **page) == 401


def test_a_link_from_another_page_may_look() -> None:
    assert asked_by_a_browser(LOOPBACK, method="GET", Sec_Fetch_Site="cross-site") == 405


def test_keys_beside_loopback() -> None:
    assert status(BOTH) == 200
    assert status(BOTH, peer="192.0.2.7") == 401
    assert status(BOTH, peer="192.0.2.7", Authorization=f"Bearer {KEY}", Via="1.1 x") == 200
    assert status(BOTH, Authorization="Bearer another") == 403


def test_everybody() -> None:
    assert status(OPEN, peer="192.0.2.7", Via="1.1 x", Authorization="Bearer another") == 200


# What each scope opens, by hand: looking at what there is, having something judged, counts.
ASKED: dict[tuple[str, str], Scope] = {
    ("GET", "/v1/info"): "read",
    ("HEAD", "/v1/profiles"): "read",
    ("OPTIONS", "/v1/checks/span"): "read",
    ("POST", "/v1/checks/span"): "evaluate",
    ("POST", "/v1/batches"): "evaluate",
    ("POST", "/v1/profiles/review"): "evaluate",
    ("POST", "/v1/nothing"): "evaluate",
    ("GET", "/metrics"): "metrics",
}


@pytest.mark.parametrize(("asked", "scope"), list(product(ASKED, SCOPES)))
def test_a_key_opens_what_its_scope_says(asked: tuple[str, str], scope: Scope) -> None:
    app = create_app(Settings(keys=frozenset({Key(DIGEST, frozenset({scope}))})))
    client = observe(app, Metrics(), request_log(io.BytesIO())).test_client()
    method, path = asked
    reply = client.open(path, method=method, headers={"Authorization": f"Bearer {KEY}"})
    if ASKED[asked] == scope:
        assert reply.status_code not in (401, 403)
        return
    assert reply.status_code == 403
    if method != "HEAD":
        said = reply.get_json(force=True)
        assert said["type"] == "/problems/key-not-allowed"
        assert said["detail"] == (
            f"this API key has the scopes {scope}; here it needs {ASKED[asked]}"
        )
        assert KEY not in reply.text


def test_a_key_without_stated_scopes_evaluates_and_reads() -> None:
    assert Key(DIGEST).scopes == {"evaluate", "read"}
    for path, expected in (("/v1/info", 200), ("/metrics", 403)):
        assert status(KEYED, path, Authorization=f"Bearer {KEY}") == expected
