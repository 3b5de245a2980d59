"""What is sent of a logbook whose checks are the rows of a table."""

import json
from email import message_from_bytes
from email.policy import HTTP

import openpyxl
import pytest

from weighworthy.errors import TableFileError
from weighworthy.logbook import Logbook
from weighworthy.logbook_files import book_of_lines
from weighworthy.logbook_table import MOST_BESIDE
from weighworthy.site import load_site

ENTRY = {"id": "E1", "kind": "move", "at": "2026-03-30T08:00:00Z", "instrument": "MA-1"}
LINE = json.dumps(ENTRY).encode() + b"\n"
MAPPING = {"id": "m", "check": "span", "columns": {"performed_at": "When", "instrument": "Balance"}}
QUESTIONS = ("status", "support", "drift", "intervals", "signals")


@pytest.fixture
def asked():
    """A logbook whose service echoes; the calls that it got, the parts of each by name."""
    calls = []

    def send(path, body, headers, take):
        sent = body().read()
        whole = message_from_bytes(
            f"Content-Type: {headers['Content-Type']}\r\n\r\n".encode() + sent, policy=HTTP
        )
        parts = {
            part.get_param("name", header="Content-Disposition"): part
            for part in whole.iter_parts()
        }
        calls.append((path, parts))
        return take({"x-request-id": "r"}, iter([b'{"at": "2026-03-30T09:00:00Z", "summary": {}}']))

    return lambda site=None: Logbook(send, load_site(site)), calls


@pytest.fixture
def table(tmp_path):
    path = tmp_path / "export.csv"
    path.write_bytes(b"When;Balance\r\n30.03.2026;MA-1\r\n")
    return path


def document(parts):
    return json.loads(parts["logbook"].get_payload(decode=True))


@pytest.mark.parametrize("question", QUESTIONS)
def test_every_call_takes_a_table(asked, table, question):
    make, calls = asked
    answer = getattr(make(), question)(table=table, mapping=MAPPING, at="2026-03-30T09:00:00Z")
    ((path, parts),) = calls
    assert path == f"/v1/logbook/{question}"
    assert document(parts) == {"at": "2026-03-30T09:00:00Z", "entries": []}
    assert json.loads(parts["mapping"].get_payload(decode=True)) == MAPPING
    assert parts["table"].get_content_type() == "text/csv"
    assert parts["table"].get_payload(decode=True) == table.read_bytes()
    assert answer.notes == ()


@pytest.mark.parametrize("question", QUESTIONS)
def test_every_call_says_how_the_table_is_to_be_read(asked, table, question):
    make, calls = asked
    mapping = {**MAPPING, "table": {"decimal": ",", "encoding": "utf-8"}}
    stated = {"encoding": "cp1252", "delimiter": ";"}
    getattr(make(), question)(table=table, mapping=mapping, sheet="Bench", reading=stated)
    parts = calls[0][1]
    sent = json.loads(parts["mapping"].get_payload(decode=True))
    assert sent["table"] == {"decimal": ",", **stated, "sheet": "Bench"}
    assert document(parts) == {"entries": []}


def test_other_entries_come_beside_as_they_were_written(asked, table):
    make, calls = asked
    odd = b'{"id": "E2", "answer": {"value": 0.1000000000000000055}}\r\n'
    book = book_of_lines(iter([b"\xef\xbb\xbf\n", b'{"at": "x"}\n', b"\n", LINE, odd]), "log")
    make().status(book, table=table, mapping=MAPPING)
    make().status([ENTRY], table=str(table), mapping=MAPPING)
    first, second = (parts["logbook"].get_payload(decode=True) for _, parts in calls)
    assert json.loads(first)["entries"][0] == ENTRY
    assert len(json.loads(first)["entries"]) == 2
    assert b"0.1000000000000000055" in first
    assert json.loads(second) == {"entries": [ENTRY]}


def test_a_file_in_order_is_no_promise_of_its_table(asked, table):
    make, calls = asked
    for more in ({}, {"in_order": True}):
        book = book_of_lines(iter([b'{"sorted": true}\n', LINE]), "log")
        make().status(book, table=table, mapping=MAPPING, **more)
    assert [document(parts).get("sorted") for _, parts in calls] == [None, True]


def test_mapping_and_logbook_are_completed_from_the_site(asked, table, tmp_path):
    make, calls = asked
    site = {
        "time_zone": "Europe/Berlin",
        "instruments": {"MA-1": {"scale_interval": "1 mg"}},
        "weights": {"A20": {"nominal": "20 g", "weight_class": "OIML F1"}},
        "profile": "mill@1",
    }
    file = tmp_path / "m.toml"
    file.write_bytes(b'\xef\xbb\xbfid = "m"\n[columns]\ninstrument = "Balance"\n')
    make(site).status(table=table, mapping=file)
    parts = calls[0][1]
    sent = json.loads(parts["mapping"].get_payload(decode=True))
    assert sent["time_zone"] == "Europe/Berlin"
    assert sent["instruments"] == {"MA-1": {"id": "MA-1", "scale_interval": "1 mg"}}
    assert sent["constants"]["weights"] == site["weights"]
    assert document(parts)["profile"] == "mill@1"
    assert document(parts)["calendar"] == {"time_zone": "Europe/Berlin"}


def test_a_workbook_is_sent_as_typed_cells_with_notes_on_what_is_hidden(asked, tmp_path):
    make, calls = asked
    path = tmp_path / "export.xlsx"
    book = openpyxl.Workbook()
    book.active.append(["When", "Balance"])
    book.active.append(["30.03.2026", "MA-1"])
    book.active.row_dimensions[2].hidden = True
    book.save(path)
    answer = make().status(table=path, mapping=MAPPING)
    part = calls[0][1]["table"]
    assert part.get_content_type() == "application/vnd.weighworthy.cells+x-ndjson"
    rows = [json.loads(line) for line in part.get_payload(decode=True).splitlines()]
    assert rows == [
        ["Sheet", 1, ["When", "Balance"]],
        ["Sheet", 2, ["30.03.2026", "MA-1"]],
    ]
    assert len(answer.notes) == 1
    assert "hidden" in answer.notes[0]


@pytest.mark.parametrize(
    ("raw", "table_says", "notes"),
    [
        ("Prüfer\n".encode("cp1252"), {}, 1),
        ("Prüfer\n".encode("cp1252"), {"encoding": "cp1252"}, 0),
        ("Prüfer\n".encode("utf-8-sig"), {}, 0),
        ("Prüfer\n".encode("utf-16"), {}, 0),
    ],
)
def test_what_is_assumed_of_the_encoding_is_told(asked, table, raw, table_says, notes):
    make, _ = asked
    table.write_bytes(raw)
    answer = make().status(table=table, mapping={**MAPPING, "table": table_says})
    assert len(answer.notes) == notes
    assert all("not UTF-8" in note and "`encoding`" in note for note in answer.notes)


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({}, "a logbook needs its entries, a table, or both"),
        ({"book": [ENTRY], "mapping": MAPPING}, "a mapping is for a table"),
        ({"book": [ENTRY], "sheet": "Bench"}, "`sheet` is for a table"),
        ({"book": [ENTRY], "reading": {"decimal": ","}}, "`reading` is for a table"),
        ({"table": "TABLE"}, "a table needs a mapping"),
        ({"table": "TABLE", "mapping": "mill-export"}, "'mill-export'.*by its file"),
    ],
)
def test_what_belongs_together(asked, table, given, said):
    make, calls = asked
    given = {name: table if one == "TABLE" else one for name, one in given.items()}
    with pytest.raises(ValueError, match=said):
        make().status(**given)
    assert calls == []


def test_files_that_cannot_be_read(asked, table, tmp_path):
    make, calls = asked
    with pytest.raises(FileNotFoundError, match=r"none\.csv"):
        make().status(table=tmp_path / "none.csv", mapping=MAPPING)
    with pytest.raises(FileNotFoundError, match=r"none\.toml"):
        make().status(table=table, mapping="none.toml")
    broken = tmp_path / "broken.xlsx"
    broken.write_bytes(b"PK\x03\x04 and no more")
    with pytest.raises(TableFileError, match=r"broken\.xlsx"):
        make().status(table=broken, mapping=MAPPING)
    for line, said in (
        (b'{"id": ', "not JSON"),
        (b"[1]", "not a JSON object"),
        (b'{"a": {"id": 1, "id": 2}}', "not JSON: the key 'id' occurs twice"),
    ):
        book = book_of_lines(iter([b"{}\n", b"\n", LINE, line]), "log")
        with pytest.raises(ValueError, match=f"^log:4: {said}"):
            make().status(book, table=table, mapping=MAPPING)
    assert calls == []


def test_more_entries_than_go_with_a_table_are_refused_before_they_are_sent(asked, table):
    make, calls = asked
    endless = iter(lambda: {**ENTRY, "note": "x" * 100_000}, None)
    with pytest.raises(ValueError, match=r"entries: .*beside a table.* 8 MiB.*as lines"):
        make().status(endless, table=table, mapping=MAPPING)
    room = MOST_BESIDE - len('{"results": [{"id": ""}], "entries": []}')
    make().support(results=[{"id": "x" * room}], table=table, mapping=MAPPING)
    assert len(calls[0][1]["logbook"].get_payload(decode=True)) == MOST_BESIDE
    with pytest.raises(ValueError, match="8 MiB"):
        make().support(results=[{"id": "x" * (room + 1)}], table=table, mapping=MAPPING)
    assert len(calls) == 1
