"""Chains: where one is broken shows in the list itself, and what only its end can hide."""

from collections.abc import Callable
from copy import deepcopy
from typing import Any

import pytest
from flask.testing import FlaskClient

Ask = Callable[..., Any]


@pytest.fixture(scope="module")
def whole(seal: Ask, example: Ask) -> list[dict[str, Any]]:
    """Six records, each naming the one before, as a LIMS would have them sealed day by day."""
    records: list[dict[str, Any]] = []
    for day in range(6):
        previous = records[-1]["digest"] if records else None
        request = example(day % 3, labels={"day": str(day)})
        records.append(seal(request, previous, f"2026-03-{16 + day}T08:00:00Z"))
    return records


@pytest.fixture
def records(whole: list[dict[str, Any]]) -> list[dict[str, Any]]:
    return deepcopy(whole)


def breaks(told: dict[str, Any]) -> list[tuple[int, str]]:
    return [(one["line"], one["code"]) for one in told["breaks"]]


def test_a_whole_chain(records: list[dict[str, Any]], chain_of: Ask) -> None:
    told = chain_of(records, records[-1]["digest"])
    assert told["agrees"] is told["unbroken"] is True
    assert told["records"] == told["agreeing"] == 6
    assert told["seals"] == {"ok": 6, "altered": 0, "unknown-key": 0, "unsigned": 0}
    assert told["breaks"] == told["faults"] == []
    assert told["first"]["previous"] is None
    assert told["last"]["digest"] == records[-1]["digest"]


def test_a_record_is_missing(records: list[dict[str, Any]], chain_of: Ask) -> None:
    del records[3]
    told = chain_of(records)
    assert breaks(told) == [(4, "missing")]
    assert told["unbroken"] is told["agrees"] is False
    assert told["agreeing"] == 5
    assert told["breaks"][0]["previous"] not in [record["digest"] for record in records]


def test_two_records_changed_places(records: list[dict[str, Any]], chain_of: Ask) -> None:
    records[2], records[3] = records[3], records[2]
    # Line 3 follows what stands in line 4, line 4 follows line 2, line 5 follows line 3.
    told = chain_of(records)
    assert breaks(told) == [(3, "order"), (4, "order"), (5, "order")]
    assert "it follows line 4" in told["breaks"][0]["message"]


def test_a_record_was_changed(records: list[dict[str, Any]], chain_of: Ask) -> None:
    records[2]["request"]["performed_by"] = "somebody else"
    told = chain_of(records)
    assert breaks(told) == [(4, "before-altered")]
    (fault,) = told["faults"]
    assert (fault["line"], fault["seal"], fault["agrees"]) == (3, "altered", False)
    assert fault["reasons"][0]["code"] == "digest-differs"


def test_a_record_was_replaced_by_another_that_is_sealed(
    records: list[dict[str, Any]], chain_of: Ask, seal: Ask, example: Ask
) -> None:
    """Whoever may have things sealed can make a record, and not the chain over it."""
    previous = records[1]["digest"]
    records[2] = seal(example(2, labels={"day": "other"}), previous, records[2]["sealed_at"])
    told = chain_of(records)
    assert told["agreeing"] == 6
    assert breaks(told) == [(4, "missing")]


def test_the_same_record_twice(records: list[dict[str, Any]], chain_of: Ask) -> None:
    records.insert(3, records[2])
    assert breaks(chain_of(records)) == [(4, "twice")]


def test_a_chain_begins_anew_in_the_middle(
    records: list[dict[str, Any]], chain_of: Ask, seal: Ask, example: Ask
) -> None:
    records.insert(3, seal(example(0, labels={"day": "n"}), None, "2026-03-19T07:00:00Z"))
    assert breaks(chain_of(records)) == [(4, "begins-anew"), (5, "order")]


def test_a_part_of_a_chain_is_unbroken_by_itself(
    records: list[dict[str, Any]], chain_of: Ask
) -> None:
    told = chain_of(records[2:])
    assert told["unbroken"] is True
    assert told["first"]["previous"] == records[1]["digest"]


def test_the_last_records_are_missing(records: list[dict[str, Any]], chain_of: Ask) -> None:
    """The list alone is as good as whole; the digest of the last, kept elsewhere, tells."""
    assert chain_of(records[:4])["unbroken"] is True
    told = chain_of(records[:4], records[-1]["digest"])
    assert breaks(told) == [(4, "last-differs")]
    assert "later ones are missing" in told["breaks"][0]["message"]


def test_an_entry_that_is_no_record(records: list[dict[str, Any]], chain_of: Ask) -> None:
    told = chain_of([*records[:2], b'{"record_version": 1, "re\n', *records[3:], {"no": "record"}])
    assert breaks(told) == [(4, "before-unreadable")]
    assert told["unreadable"] == 2
    assert told["unbroken"] is False
    broken, other = told["faults"]
    assert (broken["line"], broken["reasons"][0]["code"]) == (3, "malformed-json")
    assert other["line"] == 7
    assert "/no" in [reason["pointer"] for reason in other["reasons"]]


def test_time_goes_back(
    records: list[dict[str, Any]], chain_of: Ask, seal: Ask, example: Ask
) -> None:
    records.append(seal(example(), records[-1]["digest"], "2026-03-20T08:00:00Z"))
    assert breaks(chain_of(records)) == [(7, "time-goes-back")]


def test_empty_lines_count_as_lines(records: list[dict[str, Any]], chain_of: Ask) -> None:
    told = chain_of([records[0], b"\n", b"  \n", records[2]])
    assert breaks(told) == [(4, "missing")]


def test_as_one_document(records: list[dict[str, Any]], client: FlaskClient) -> None:
    body = {"records": records[:3]}
    told = client.post("/v1/records/verify-chain", json=body).get_json()
    assert told["agrees"] is True


@pytest.mark.parametrize(
    ("body", "type_", "query", "status"),
    [
        (b"", "application/x-ndjson", "", 411),
        (b"\n \n", "application/x-ndjson", "", 400),
        (b"[]", "application/json", "", 422),
        (b'{"records": []}', "application/json", "", 422),
        (b'{"records": [3]}', "application/json", "", 422),
        (b"{}\n", "text/plain", "", 415),
        (b"{}\n", "application/x-ndjson", "?last=abc", 422),
        (b"{}\n", "application/x-ndjson", "?first=abc", 422),
    ],
)
def test_what_is_no_chain_is_refused(
    body: bytes, type_: str, query: str, status: int, client: FlaskClient
) -> None:
    address = f"/v1/records/verify-chain{query}"
    assert client.post(address, data=body, content_type=type_).status_code == status
