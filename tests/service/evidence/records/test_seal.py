"""What is sealed, and that others can check it with what they have."""

import base64
import hashlib
import json
from collections.abc import Callable
from typing import Any

import pytest
import rfc8785
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
from flask import g
from flask.testing import FlaskClient

Ask = Callable[..., Any]
WINDOW = {"target": "12 g", "allowance": "0.5 g"}


def decoded(text: str) -> bytes:
    return base64.urlsafe_b64decode(text + "=" * (-len(text) % 4))


@pytest.mark.parametrize("position", [0, 1, 2])
def test_holds_request_profile_and_the_answer_of_the_check(
    position: int, seal: Ask, example: Ask, client: FlaskClient
) -> None:
    request = example(position)
    record = seal(request)
    assert record["request"] == request
    check = request["check"]
    assert record["answer"] == client.post(f"/v1/checks/{check}", json=request).get_json()
    built_in = client.get("/v1/profiles/weighworthy-general").get_json()
    assert record["profile"] == built_in["document"]
    assert record["record_version"] == 1
    assert record["previous"] is None


def test_digest_and_signature_by_others_means(record: dict[str, Any], client: FlaskClient) -> None:
    """RFC 7515, 5.2 by hand, with `cryptography` alone; the digest with `hashlib`."""
    content = {k: v for k, v in record.items() if k not in ("digest", "signature")}
    payload = rfc8785.dumps(content)
    assert record["digest"] == "sha256:" + hashlib.sha256(payload).hexdigest()
    header, nothing, signature = record["signature"].split(".")
    assert nothing == ""
    told = json.loads(decoded(header))
    assert told == {"alg": "Ed25519", "kid": "kestrel-2026"}
    published = client.get("/v1/records/keys").get_json()
    assert published["seals_with"] == "kestrel-2026"
    (key,) = [key for key in published["keys"] if key["kid"] == told["kid"]]
    assert key.keys() == {"kty", "crv", "x", "kid", "use", "alg"}
    public = Ed25519PublicKey.from_public_bytes(decoded(key["x"]))
    signed = header.encode() + b"." + base64.urlsafe_b64encode(payload).rstrip(b"=")
    public.verify(decoded(signature), signed)
    with pytest.raises(InvalidSignature):
        public.verify(decoded(signature), signed + b"A")


def test_an_inline_profile_is_held_resolved(seal: Ask, verify: Ask, example: Ask) -> None:
    parent = {
        "id": "base",
        "revision": "1",
        "title": "base",
        "rules": [{"limits": {"span_error": {"within": "9 mg"}}}],
    }
    own = {**parent, "id": "own", "extends": parent, "rules": [{"start_window": WINDOW}]}
    record = seal(example(0, profile=own))
    assert "extends" not in record["profile"]
    assert [sorted(rule) for rule in record["profile"]["rules"]] == [["limits"], ["start_window"]]
    assert record["answer"]["profile"]["id"] == "own"
    # The limit is the parent's; it is pointed to where the record has it.
    (source,) = {c["limit_source"] for c in record["answer"]["criteria"]} - {None}
    name, place = source.split(" ")
    assert (name, place) == ("own@1", "/rules/0/limits/span_error")
    assert record["profile"]["rules"][0]["limits"]["span_error"] == {"within": "9 mg"}
    assert verify(record)["agrees"] is True


def test_a_parent_that_only_the_service_knew_is_held_too(
    seal: Ask, verify: Ask, example: Ask
) -> None:
    own = {
        "id": "own",
        "revision": "1",
        "title": "own",
        "extends": "weighworthy-general@1",
        "rules": [{"limits": {"span_error": {"within": "1 mg"}}, "loosens": "invented"}],
    }
    built_in = seal()["answer"]["profile"]
    own["extends"] = f"{built_in['id']}@{built_in['revision']}"
    record = seal(example(0, profile=own))
    assert len(record["profile"]["rules"]) > 1
    assert verify(record)["agrees"] is True


def test_without_a_key_there_is_a_digest_and_no_signature(seal: Ask, unsealed: FlaskClient) -> None:
    record = seal(by=unsealed)
    assert record["signature"] is None
    assert record["digest"].startswith("sha256:")
    assert unsealed.get("/v1/records/keys").get_json() == {"keys": [], "seals_with": None}


def test_the_same_request_gives_the_same_bytes(client: FlaskClient, example: Ask) -> None:
    body = {"request": example(2), "sealed_at": "2026-03-16T08:05:00Z"}
    first, second = (client.post("/v1/records/seal", json=body).data for _ in range(2))
    assert first == second


@pytest.mark.parametrize(
    ("change", "pointer", "code"),
    [
        ({"sealed_at": None}, "/sealed_at", "required"),
        ({"sealed_at": "2026-03-16T08:05:00"}, "/sealed_at", "offset-missing"),
        ({"previous": "abc"}, "/previous", "malformed-text"),
        ({"answer": {"verdict": "pass"}}, "/answer", "unknown-field"),
        ({"request": "span"}, "/request", "wrong-type"),
    ],
)
def test_what_is_not_the_form_of_a_request_is_refused(
    change: dict[str, Any], pointer: str, code: str, client: FlaskClient, example: Ask
) -> None:
    body = {"request": example(), "sealed_at": "2026-03-16T08:05:00Z", **change}
    response = client.post("/v1/records/seal", json=body)
    assert response.status_code == 422
    faults = [(e["pointer"], e["code"]) for e in response.get_json()["errors"]]
    assert (pointer, code) in faults


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"check": None}, "/request/check"),
        ({"check": "spam"}, "/request/check"),
        ({"warm_up": "90"}, "/request/warm_up"),
        ({"profile": "no-such"}, "/request/profile"),
        ({"profile": {"id": "own"}}, "/request/profile/revision"),
    ],
)
def test_faults_of_the_check_have_their_place_in_the_body(
    change: dict[str, Any], pointer: str, client: FlaskClient, example: Ask
) -> None:
    body = {"request": example(0, **change), "sealed_at": "2026-03-16T08:05:00Z"}
    response = client.post("/v1/records/seal", json=body)
    assert response.status_code == 422
    assert pointer in [error["pointer"] for error in response.get_json()["errors"]]


def test_a_void_or_failed_check_is_sealed_like_any_other(seal: Ask, example: Ask) -> None:
    request = example()
    for one in request["rounds"]:
        if "indication" in one:
            one["indication"] = "20.900 g"
    assert seal(request)["answer"]["verdict"] in ("fail", "void")


def test_the_example_of_the_description_is_taken(client: FlaskClient) -> None:
    paths = client.get("/openapi.json").get_json()["paths"]
    content = paths["/v1/records/seal"]["post"]["requestBody"]["content"]["application/json"]
    (example,) = content["examples"].values()
    response = client.post("/v1/records/seal", json=example["value"])
    assert response.status_code == 200
    assert response.get_json()["answer"]["verdict"] == "pass"


def test_a_sealed_check_is_counted_like_any_other(client: FlaskClient, example: Ask) -> None:
    with client:
        body = {"request": example(), "sealed_at": "2026-03-16T08:05:00Z"}
        client.post("/v1/records/seal", json=body)
        (came,) = g.tally.judged
    assert (came.check, came.verdict) == ("span", "pass")
