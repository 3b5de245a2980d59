"""What is told of a record: every way of not being what was sealed has its own reason."""

import base64
import json
import random
from collections.abc import Callable
from copy import deepcopy
from pathlib import Path
from typing import Any

import pytest
import rfc8785
from flask.testing import FlaskClient
from joserfc import jws
from joserfc.jwk import OKPKey

from weighworthy_service.evidence.records.content import digest_of, payload_of
from weighworthy_service.web.app import create_app

Ask = Callable[..., Any]


def codes(told: dict[str, Any]) -> list[str]:
    return [reason["code"] for reason in told["reasons"]]


def with_digest(record: dict[str, Any], **changes: Any) -> dict[str, Any]:
    """The record changed by somebody who knows how digests are made, but has no key."""
    changed = {**deepcopy(record), **changes}
    return {**changed, "digest": digest_of(payload_of(changed))}


def signed_by(key: OKPKey, record: dict[str, Any], **header: Any) -> dict[str, Any]:
    whole = {"alg": "Ed25519", **header}
    algorithms = [whole["alg"]]
    signature = jws.serialize_compact(whole, payload_of(record), key, algorithms=algorithms)
    return {**record, "signature": jws.detach_content(signature)}


@pytest.mark.parametrize("position", [0, 1, 2])
def test_a_record_as_it_was_sealed(position: int, seal: Ask, verify: Ask, example: Ask) -> None:
    told = verify(seal(example(position)))
    assert (told["seal"], told["agrees"]) == ("ok", True)
    assert (told["profile"], told["verdict"]) == ("same", "same")
    assert told["numbers"] == told["others"] == told["reasons"] == []
    assert told["digest"] == told["stated_digest"]
    assert told["key_id"] == "kestrel-2026"


def test_another_order_of_members_and_other_spaces_do_no_harm(
    record: dict[str, Any], client: FlaskClient
) -> None:
    def turned(value: Any) -> Any:
        if isinstance(value, dict):
            return {name: turned(value[name]) for name in reversed(value)}
        return [turned(below) for below in value] if isinstance(value, list) else value

    text = json.dumps(turned(record), indent=3, ensure_ascii=True)
    assert list(json.loads(text)) == list(reversed(record))
    response = client.post("/v1/records/verify", data=text, content_type="application/json")
    assert response.get_json()["seal"] == "ok"


def test_other_ways_to_write_the_same_number_do_no_harm(
    record: dict[str, Any], client: FlaskClient
) -> None:
    """A database that stores doubles may give 20 for 20.0 and 1e-3 for 0.001."""
    text = rfc8785.dumps(record).decode()
    assert '"load":20,' in text
    text = text.replace('"load":20,', '"load":2.0E1,')
    response = client.post("/v1/records/verify", data=text, content_type="application/json")
    assert response.get_json()["seal"] == "ok"


def places(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Where texts and numbers stand in a document."""
    if isinstance(value, dict):
        return [place for name in value for place in places(value[name], (*path, name))]
    if isinstance(value, list):
        return [place for i, below in enumerate(value) for place in places(below, (*path, i))]
    return [path] if isinstance(value, str | int | float) and not isinstance(value, bool) else []


def changed_at(record: dict[str, Any], place: tuple[Any, ...]) -> dict[str, Any]:
    copy = deepcopy(record)
    where = copy
    for step in place[:-1]:
        where = where[step]
    was = where[place[-1]]
    where[place[-1]] = was + 1 if isinstance(was, int | float) else was + "x"
    return copy


def test_no_change_of_any_value_is_ok(seal: Ask, example: Ask, client: FlaskClient) -> None:
    """Every text and every number has its part in the digest; one of each 25 is also asked for:
    altered, or no record any more."""
    record = seal(example(2))
    everywhere = places(record)
    assert len(everywhere) > 150
    for place in everywhere:
        if place[0] not in ("digest", "signature"):
            assert digest_of(payload_of(changed_at(record, place))) != record["digest"], place
    for place in [*everywhere[::25], *everywhere[-2:]]:
        response = client.post("/v1/records/verify", json=changed_at(record, place))
        if response.status_code == 200:
            told = response.get_json()
            assert (told["seal"], told["agrees"]) == ("altered", False), place
            assert {"digest-differs", "signature-malformed"} & set(codes(told)), place
        else:
            assert response.status_code == 422, place
            assert response.get_json()["errors"][0]["pointer"] == f"/{place[0]}"


def test_no_single_byte_can_be_changed(record: dict[str, Any], client: FlaskClient) -> None:
    """Of the bytes as stored, some at random: never ok."""
    raw = rfc8785.dumps(record)
    chance = random.Random(7)  # noqa: S311  no secret
    told_as_altered = 0
    for _ in range(60):
        at = chance.randrange(len(raw))
        changed = raw[:at] + bytes([raw[at] ^ (1 << chance.randrange(7))]) + raw[at + 1 :]
        response = client.post("/v1/records/verify", data=changed, content_type="application/json")
        if response.status_code == 200:
            told = response.get_json()
            assert told["seal"] == "altered", changed[at - 20 : at + 20]
            assert told["reasons"]
            told_as_altered += 1
        else:
            assert response.status_code in (400, 422)
    assert told_as_altered > 15


@pytest.mark.parametrize("share", [0.1, 0.5, 0.999])
def test_a_truncated_record_is_no_json(
    share: float, record: dict[str, Any], client: FlaskClient
) -> None:
    raw = json.dumps(record).encode()
    cut = raw[: int(len(raw) * share)]
    response = client.post("/v1/records/verify", data=cut, content_type="application/json")
    assert response.status_code == 400
    assert response.get_json()["type"] == "/problems/malformed-json"
    assert "column" in response.get_json()["detail"]


@pytest.mark.parametrize("member", ["request", "profile", "answer", "sealed_at", "digest"])
def test_a_record_without_a_part_is_refused_by_its_name(
    member: str, record: dict[str, Any], client: FlaskClient
) -> None:
    del record[member]
    response = client.post("/v1/records/verify", json=record)
    assert response.status_code == 422
    (fault,) = response.get_json()["errors"]
    assert (fault["pointer"], fault["code"]) == (f"/{member}", "required")


def test_a_later_form_of_record_is_refused(record: dict[str, Any], client: FlaskClient) -> None:
    response = client.post("/v1/records/verify", json={**record, "record_version": 2})
    (fault,) = response.get_json()["errors"]
    assert (fault["pointer"], fault["code"]) == ("/record_version", "record-version")
    assert "later version" in fault["detail"]


def test_a_record_of_a_later_engine_is_not_judged(record: dict[str, Any], verify: Ask) -> None:
    record["answer"]["engine"]["revision"] = 99
    told = verify(with_digest(record))
    assert told["agrees"] is False
    assert told["verdict"] == "not-recomputed"
    assert "engine-later" in codes(told)


def test_who_makes_a_new_digest_still_has_no_signature(record: dict[str, Any], verify: Ask) -> None:
    record["answer"]["verdict"] = "fail"
    told = verify(with_digest(record))
    assert told["stated_digest"] == told["digest"]
    assert told["seal"] == "altered"
    assert "signature-differs" in codes(told)
    assert told["verdict"] == "differs"


def test_who_takes_the_signature_away_leaves_a_record_without(
    record: dict[str, Any], verify: Ask
) -> None:
    told = verify({**record, "signature": None})
    assert (told["seal"], codes(told)) == ("unsigned", ["unsigned"])


def test_an_unsigned_record_that_was_made_up_does_not_come_out_again(
    seal: Ask, verify: Ask, unsealed: FlaskClient
) -> None:
    """With a digest that fits, only the computation tells."""
    record = seal(by=unsealed)
    (first, *_) = record["answer"]["criteria"]
    first["value"], first["verdict"] = 0.0, "pass"
    told = verify(with_digest(record))
    assert (told["seal"], told["agrees"]) == ("unsigned", False)
    (number,) = told["numbers"]
    # 20.003 - 0 - 20 g, see the example.
    assert (number["pointer"], number["recomputed"]) == ("/criteria/0/value", 0.003)
    assert (number["recorded"], number["explanation"]) == (0.0, None)


def test_signed_by_another_key(record: dict[str, Any], verify: Ask) -> None:
    other = OKPKey.generate_key("Ed25519")
    told = verify(signed_by(other, record, kid=other.thumbprint()))
    assert (told["seal"], codes(told)) == ("unknown-key", ["unknown-key"])
    assert told["key_id"] == other.thumbprint()
    assert "kestrel-2026" in told["reasons"][0]["message"]


def test_signed_by_another_key_under_the_name_of_ours(record: dict[str, Any], verify: Ask) -> None:
    other = OKPKey.generate_key("Ed25519")
    told = verify(signed_by(other, record, kid="kestrel-2026"))
    assert (told["seal"], codes(told)) == ("altered", ["signature-differs"])


def test_no_key_named(record: dict[str, Any], verify: Ask, key_file: Path) -> None:
    own = OKPKey.import_key({**json.loads(key_file.read_text())})
    told = verify(signed_by(own, record))
    assert (told["seal"], codes(told)) == ("unknown-key", ["key-not-named"])


def header_of(**members: Any) -> str:
    return base64.urlsafe_b64encode(json.dumps(members).encode()).rstrip(b"=").decode()


@pytest.mark.parametrize(
    ("signature", "code"),
    [
        (f"{header_of(alg='none')}..", "algorithm-refused"),
        (f"{header_of(alg='none', kid='kestrel-2026')}..{'A' * 86}", "algorithm-refused"),
        (f"{header_of(alg='NONE', kid='kestrel-2026')}..{'A' * 86}", "algorithm-refused"),
        (f"{header_of(alg='HS256', kid='kestrel-2026')}..{'A' * 43}", "algorithm-refused"),
        (f"{header_of(alg='EdDSA', kid='kestrel-2026')}..{'A' * 86}", "algorithm-refused"),
        (f"{header_of(kid='kestrel-2026')}..{'A' * 86}", "algorithm-refused"),
        (f"{header_of(alg=['Ed25519'])}..{'A' * 86}", "algorithm-refused"),
        (f"{header_of(alg='Ed25519', kid='kestrel-2026')}..", "signature-malformed"),
        (f"{header_of(alg='Ed25519', kid='kestrel-2026')}.e30.{'A' * 86}", "signature-malformed"),
        (
            f"{header_of(alg='Ed25519', kid='kestrel-2026', jwk={})}..{'A' * 86}",
            "header-unexpected",
        ),
        (
            f"{header_of(alg='Ed25519', kid='kestrel-2026', b64=False)}..{'A' * 86}",
            "header-unexpected",
        ),
        (f"{header_of(alg='Ed25519', kid='kestrel-2026')}..{'A' * 86}", "signature-differs"),
        ("e30", "signature-malformed"),
        ("not base64..", "signature-malformed"),
    ],
)
def test_signatures_that_are_not_taken(
    signature: str, code: str, record: dict[str, Any], verify: Ask
) -> None:
    told = verify({**record, "signature": signature})
    assert (told["seal"], told["agrees"]) == ("altered", False)
    assert codes(told) == [code]
    assert told["reasons"][0]["pointer"] == "/signature"


def test_bits_of_a_signature_that_belong_to_no_byte(record: dict[str, Any], verify: Ask) -> None:
    """The last of 86 characters has four bits too many: a lenient reader would take 16 of them."""
    alphabet = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_"
    last = alphabet.index(record["signature"][-1])
    assert last % 16 == 0
    changed = record["signature"][:-1] + alphabet[last + 5]
    assert codes(verify({**record, "signature": changed})) == ["signature-malformed"]


def test_the_profile_was_exchanged(record: dict[str, Any], verify: Ask) -> None:
    """A wider limit, with everything else left as it was, and a digest that fits."""
    record["profile"]["rules"].append({"limits": {"span_error": {"within": "1 g"}}})
    told = verify(with_digest(record, signature=None))
    assert told["profile"] == "differs"
    assert told["agrees"] is False
    assert {"/answer/profile/digest"} == {reason["pointer"] for reason in told["reasons"][1:]}


def test_the_profile_is_another_than_the_request_names(
    seal: Ask, verify: Ask, example: Ask, unsealed: FlaskClient
) -> None:
    record = seal(example(0, profile="oiml-r76-class-1-initial"), by=unsealed)
    record["request"]["profile"] = "oiml-r76-class-2-initial"
    told = verify(with_digest(record))
    assert told["profile"] == "differs"
    assert "/request/profile" in [reason["pointer"] for reason in told["reasons"]]


def test_a_profile_that_is_none(record: dict[str, Any], verify: Ask) -> None:
    told = verify(with_digest(record, profile={"id": "own"}, signature=None))
    assert (told["profile"], told["verdict"]) == ("not-readable", "not-recomputed")
    assert told["agrees"] is False
    assert "/profile/revision" in [reason["pointer"] for reason in told["reasons"]]


def test_a_request_that_cannot_be_judged(record: dict[str, Any], verify: Ask) -> None:
    record["request"]["rounds"][0]["indication"] = "20.003"
    told = verify(with_digest(record, signature=None))
    assert (told["verdict"], told["agrees"]) == ("not-recomputed", False)
    assert [r["pointer"] for r in told["reasons"][1:]] == ["/request/rounds/0/indication"]


@pytest.mark.parametrize("number", ["1e999", "123456789012345678901234567890"])
def test_numbers_that_have_no_canonical_form(
    number: str, record: dict[str, Any], client: FlaskClient
) -> None:
    record["answer"]["results"] = {"n": "NUMBER"}
    text = json.dumps(record).replace('"NUMBER"', number)
    response = client.post("/v1/records/verify", data=text, content_type="application/json")
    assert response.status_code == 422
    assert response.get_json()["errors"][0]["code"] == "no-canonical-form"


def test_a_huge_record_is_refused(record: dict[str, Any], client: FlaskClient) -> None:
    record["answer"]["results"]["note"] = "x" * (8 * 1024 * 1024)
    response = client.post("/v1/records/verify", json=record)
    assert response.status_code == 413


def test_a_deep_record_is_refused(record: dict[str, Any], client: FlaskClient) -> None:
    text = json.dumps({**record, "profile": "HERE"}).replace('"HERE"', "[" * 9999 + "]" * 9999)
    response = client.post("/v1/records/verify", data=text, content_type="application/json")
    assert response.status_code == 400


def test_profiles_of_today_play_no_part(
    seal: Ask, verify: Ask, example: Ask, tmp_path: Path, key_file: Path
) -> None:
    """Sealed where a folder has the profile, verified where none of that name is."""
    (tmp_path / "own.toml").write_text(
        'id = "mill"\nrevision = "1"\ntitle = "invented"\n'
        '[[rules]]\nlimits.span_error = { within = "2 mg" }\n'
    )
    there = create_app(profiles=tmp_path, sealing_key=key_file).test_client()
    record = seal(example(0, profile="mill"), by=there)
    assert record["answer"]["profile"]["id"] == "mill"
    told = verify(record)
    assert (told["seal"], told["agrees"]) == ("ok", True)


def test_a_profile_longer_than_any_is_not_read(record: dict[str, Any], verify: Ask) -> None:
    record["profile"]["title"] = "x" * (2 * 1024 * 1024)
    told = verify(with_digest(record, signature=None))
    assert (told["profile"], told["verdict"]) == ("not-readable", "not-recomputed")
    assert codes(told)[1:] == ["too-large"]


def test_a_store_that_writes_counts_as_floats_does_no_harm(
    seal: Ask, example: Ask, client: FlaskClient
) -> None:
    """RFC 8785 writes 10 and 10.0 alike, so the seal holds; what is computed must be the same."""
    request = example()
    request["instrument"]["repeatability_observations"] = 10
    text = rfc8785.dumps(seal(request)).decode()
    for before in (
        '"repeatability_observations":10',
        '"revision":1',
        '"record_version":1',
        '"index":0',
    ):
        assert f"{before}," in text
        text = text.replace(f"{before},", f"{before}.0,")
    response = client.post("/v1/records/verify", data=text, content_type="application/json")
    told = response.get_json()
    assert (told["seal"], told["agrees"], told["reasons"]) == ("ok", True, [])
