"""An answer is only taken if it accounts for every row."""

import json

import pytest

from weighworthy import ProtocolError
from weighworthy.batches import CELLS, CSV, NDJSON, Batch, Body, FileRange, post
from weighworthy.table_answers import header_of, read_summary, write_answer
from weighworthy.table_counts import Counts

ADDED = "ww_outcome;ww_check;ww_group;ww_first_row;ww_verdict;ww_usable;ww_error"
ROWS = (
    "Title;;skipped;;;;;;\r\n"
    f"A;B;{ADDED}\r\n"
    "1;2;judged;span;;;pass;true;\r\n"
    '"x\r\ny";2;judged;span;;;fail;false;\r\n'
    "3;4;judged;span;R1;5;fail;false;\r\n"
    "3;5;judged;span;R1;5;fail;false;\r\n"
    "3;6;error;span;;;;;because\r\n"
)
SUMMARY = {
    "complete": True,
    "broken_by": None,
    "rows_in": 3,
    "rows_judged": 2,
    "rows_in_error": 1,
    "rows_skipped": 0,
    "checks": 2,
    "verdicts": {"pass": 1, "fail": 1, "none": 0},
    "read_as": {"encoding": "utf-8"},
}


def sender(body, **headers):
    """Answers like a service: in small pieces."""

    def send(path, _body, _headers, take):
        assert path == "/v1/batches"
        pieces = (body[i : i + 7] for i in range(0, len(body), 7))
        return take({"content-type": "text/csv; charset=utf-8", **headers}, pieces)

    return send


def test_rows_are_counted_and_gathered_ones_are_one_check(tmp_path):
    body = ROWS.encode("utf-8-sig")
    send = sender(body, **{"weighworthy-rows-in": "6", "weighworthy-read-as": "header_row=2"})
    heard = []
    told = write_answer(
        send,
        Batch((b"",), CSV, CSV),
        tmp_path / "out",
        heard=lambda lines, of: heard.append((lines, of)),
    )
    # Rows 4 and 5 are the two failed checks, the second of them of rows 5 and 6.
    assert told.counts == Counts(6, 4, 1, 1, 3, 2, {"pass": 1, "fail": 2}, (4, 5), (7,))
    assert (told.begin, told.end) == (0, len(body))
    assert told.read_as["header_row"] == 2
    assert heard[-1] == (8, 6)


def test_without_its_header_an_answer_begins_with_the_first_row(tmp_path):
    send = sender(ROWS.partition("\r\n")[2].encode(), **{"weighworthy-rows-in": "5"})
    out = tmp_path / "out"
    told = write_answer(send, Batch((b"",), CSV, CSV), out, with_header=False)
    assert out.read_bytes()[told.begin :].startswith(b"1;2;judged")
    assert header_of(out).delimiter == ";"


@pytest.mark.parametrize(
    ("body", "headers", "said"),
    [
        (ROWS, {"weighworthy-rows-in": "7"}, "6 rows came back of 7"),
        (ROWS, {}, "how many rows"),
        ("A;B\r\n1;2\r\n", {"weighworthy-rows-in": "1"}, "no header"),
        ("", {"weighworthy-rows-in": "0"}, "no header"),
        ("<html>", {"content-type": "text/html"}, "not text/csv but text/html"),
    ],
)
def test_what_is_not_whole_is_not_taken(tmp_path, body, headers, said):
    with pytest.raises(ProtocolError, match=said):
        write_answer(sender(body.encode(), **headers), Batch((b"",), CSV, CSV), tmp_path / "out")


def test_lines_end_with_their_summary(tmp_path):
    lines = b'{"rows":[1],"answer":{"usable":true,"criteria":[]}}\n{"rows":[2],"answer":{}}\n'
    send = sender(
        lines + json.dumps({"summary": SUMMARY}).encode() + b"\n", **{"content-type": NDJSON}
    )
    told = write_answer(send, Batch((b"",), CSV, NDJSON), tmp_path / "out")
    assert told.counts == Counts(3, 2, 1, 0, 2, 1, {"pass": 1, "fail": 1})
    assert (tmp_path / "out").read_bytes()[: told.end] == lines
    assert told.read_as == {"encoding": "utf-8"}


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"complete": False, "broken_by": "a fault"}, "a fault"),
        ({"rows_judged": 1}, "rows are missing"),
        ({"rows_in": None}, "no summary"),
    ],
)
def test_a_summary_that_does_not_add_up(change, said):
    with pytest.raises(ProtocolError, match=said):
        read_summary(json.dumps({"summary": {**SUMMARY, **change}}).encode())


@pytest.mark.parametrize("line", [b"", b"{}", b"[]", b'{"rows":[1]}', b'{"summary":3}'])
def test_no_summary_at_all(line):
    with pytest.raises(ProtocolError, match="no summary"):
        read_summary(line)


def test_counts_of_pieces_add_up():
    total = Counts(3, 2, 1, 0, 2, 1, {"pass": 2}) + Counts(1, 1, 0, 0, 1, 1, {"void": 1})
    assert total == Counts(4, 3, 1, 0, 3, 2, {"pass": 2, "void": 1})
    assert total.add_up


def test_a_body_of_bytes_and_parts_of_files(tmp_path):
    path = tmp_path / "table"
    path.write_bytes(b"0123456789")
    body = Body((b"ab", b"", FileRange(path, 2, 3), b"z", FileRange(path, 9, 1)))
    assert len(body) == 7
    assert [body.read(2), body.read(4), body.read(), body.read()] == [b"ab", b"234", b"z9", b""]
    assert body.tell() == 7
    body.close()


def test_a_file_that_shrinks_while_it_is_sent(tmp_path):
    path = tmp_path / "table"
    path.write_bytes(b"01")
    with Body((FileRange(path, 0, 5),)) as body, pytest.raises(OSError, match="shorter"):
        body.read()


def test_mapping_and_profile_go_beside_the_table():
    sent = {}

    def send(path, body, headers, take):
        sent.update(path=path, type=headers["Content-Type"], body=body().read())
        return take({}, iter(()))

    batch = Batch((b"a;b",), CELLS, CSV, b"M", b"P", {"first_row": "7"})
    post(send, batch, lambda *_: None)
    assert sent["path"] == "/v1/batches?first_row=7"
    boundary = sent["type"].partition("boundary=")[2].encode()
    parts = sent["body"].split(b"--" + boundary)
    assert [part.partition(b"\r\n\r\n")[2] for part in parts[1:-1]] == [
        b"M\r\n",
        b"P\r\n",
        b"a;b\r\n",
    ]
    assert b'name="table"' in parts[3]
    assert CELLS.encode() in parts[3]
    post(send, Batch((b"x",), CSV, CSV), lambda *_: None)
    assert (sent["type"], sent["body"]) == (CSV, b"x")
