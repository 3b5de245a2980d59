"""What is sent of records, and what is read of the answers; the service is the embedded one."""

import json
from collections.abc import Mapping
from datetime import UTC, datetime
from decimal import Decimal

import pytest

from weighworthy import Client, Invalid, MalformedJson, ProtocolError, read_record

SITE = {
    "weights": {"A20": {"nominal": "20 g", "weight_class": "OIML F1"}},
    "instruments": {"MA-1": {"scale_interval": "1 mg", "repeatability": "0.5 mg"}},
}
REQUEST = {
    "instrument": "MA-1",
    "rounds": [{"load": ["A20"], "zero": "0.000 g", "indication": "20.001 g"}],
    "performed_at": datetime(2026, 3, 16, 8, tzinfo=UTC),
}
AT = "2026-03-16T08:05:00Z"


@pytest.fixture(scope="module")
def client():
    with Client.embedded(defaults=SITE) as embedded:
        yield embedded


@pytest.fixture(scope="module")
def record(client):
    return client.records.seal("span", REQUEST, sealed_at=AT)


def test_a_record_is_completed_from_the_site(record):
    assert record.data["request"]["check"] == "span"
    assert record.data["request"]["instrument"]["id"] == "MA-1"
    assert record.answer.check == "span"
    assert record.answer.criterion("span_error[0]").value == Decimal("0.001")
    assert (record.sealed_at, record.previous, record.signature) == (AT, None, None)


def test_the_time_of_this_computer_is_sealed_if_none_is_said(client):
    before = datetime.now(UTC).replace(microsecond=0)
    sealed = datetime.fromisoformat(client.records.seal("span", REQUEST).sealed_at)
    assert before <= sealed <= datetime.now(UTC)


def test_a_record_in_every_shape_is_verified(client, record, tmp_path):
    file = tmp_path / "record.json"
    file.write_bytes(record.raw)
    for shape in (record, record.raw, file, str(file), record.data, json.loads(record.raw)):
        found = client.records.verify(shape)
        assert (found.seal, found.agrees, found.verdict) == ("unsigned", True, "same")
        assert found.digest == record.digest
        assert not found.sound


def test_a_change_is_a_result(client, record):
    changed = record.raw.replace(b'"verdict":"pass"', b'"verdict":"fail"')
    found = client.records.verify(changed)
    assert (found.seal, found.agrees, found.verdict) == ("altered", False, "differs")
    assert {one["pointer"] for one in found.others} >= {"/verdict"}
    assert found.reasons[0]["code"] == "digest-differs"


def test_what_is_no_record_is_refused(client, record):
    with pytest.raises(MalformedJson):
        client.records.verify(record.raw[:-20])
    with pytest.raises(Invalid, match="/answer"):
        client.records.verify({k: v for k, v in record.data.items() if k != "answer"})


def test_a_chain(client, record, tmp_path):
    second = client.records.seal("span", REQUEST, previous=record, sealed_at=AT)
    third = client.records.seal("span", REQUEST, previous=second.digest, sealed_at=AT)
    found = client.records.verify_chain([record, second.raw, third.data], last=third)
    assert found.unbroken
    assert found.agrees
    assert (found.records, found.seals["unsigned"]) == (3, 3)
    assert not found.sound
    file = tmp_path / "chain.ndjson"
    file.write_bytes(record.raw + b"\n" + third.raw + b"\n")
    found = client.records.verify_chain(file)
    assert [(one["line"], one["code"]) for one in found.breaks] == [(2, "missing")]
    # A document that was stored over several lines is still one record.
    spread = json.dumps(json.loads(second.raw), indent=2).encode()
    assert client.records.verify_chain([record, spread]).unbroken


def test_read_record_of_stored_bytes(record):
    again = read_record(record.raw)
    assert again == record
    assert isinstance(again.data["profile"], Mapping)
    with pytest.raises(ProtocolError, match="digest is missing"):
        read_record(record.raw.replace(b'"digest":"sha256:' + record.digest[7:].encode(), b'"d":"'))
    with pytest.raises(ProtocolError, match="no object"):
        read_record(b"[]")


def test_keys_of_the_embedded_service(tmp_path):
    broken = tmp_path / "key"
    broken.write_text("secret-word")
    with pytest.raises(ValueError, match="neither JSON") as refused:
        Client.embedded(sealing_key=broken)
    assert "secret-word" not in str(refused.value)
