"""How a table was read comes with its answer; it is asked for beforehand only to cut the table."""

import json
from pathlib import Path

import pytest

from weighworthy import Client, table_pieces
from weighworthy.batches import CSV, NDJSON, Batch, FileRange, post
from weighworthy.mapping_files import open_mapping
from weighworthy.table_read_as import HEADER, read_as_of

EXAMPLES = Path(__file__).parents[2] / "examples" / "tables"
EXPORT, MAPPING = EXAMPLES / "harbour.csv", EXAMPLES / "harbour.toml"


@pytest.fixture
def asked(monkeypatch):
    """A client, the addresses that it asks for tables, and the headers that reach it not."""
    with Client.embedded() as client:
        paths, lost = [], set()
        real = client._stream

        def stream(path, body, headers, take):
            paths.append(path)

            def without(got, pieces):
                return take({k: v for k, v in got.items() if k.lower() not in lost}, pieces)

            return real(path, body, headers, without)

        monkeypatch.setattr(client, "_stream", stream)
        yield client, paths, lost


READ_AS = {
    "encoding": "utf-8",
    "delimiter": ";",
    "decimal": ",",
    "thousands": None,
    "header_row": 3,
    "sheet": None,
    "stated": [],
    "assumed": [],
}


@pytest.mark.parametrize("form", ["csv", "ndjson", "xlsx"])
def test_a_table_in_one_piece_is_sent_once(asked, tmp_path, form):
    client, paths, _ = asked
    summary = client.evaluate_table(EXPORT, MAPPING, out=tmp_path / f"out.{form}")
    assert summary.read_as == READ_AS
    assert paths == ["/v1/batches"]


def test_a_table_in_pieces_is_asked_about_first(asked, tmp_path, monkeypatch):
    client, paths, _ = asked
    monkeypatch.setattr(table_pieces, "PIECE", 1_000)
    summary = client.evaluate_table(EXPORT, MAPPING, out=tmp_path / "out.csv")
    assert summary.read_as == READ_AS
    assert paths[0].endswith("detail=short")
    assert len(paths) == summary.pieces + 1


@pytest.mark.parametrize(("lost_header", "judged"), [(None, False), (HEADER, True)])
def test_rows_are_judged_for_it_only_where_no_header_tells(
    asked, tmp_path, monkeypatch, lost_header, judged
):
    client, _, lost = asked
    lost.add(lost_header)
    read = []
    real = table_pieces.read_summary
    monkeypatch.setattr(table_pieces, "read_summary", lambda line: read.append(line) or real(line))
    monkeypatch.setattr(table_pieces, "PIECE", 1_000)
    summary = client.evaluate_table(EXPORT, MAPPING, out=tmp_path / "out.csv")
    assert summary.read_as == READ_AS
    assert bool(read) is judged


def test_lines_of_json_bring_the_header_too(asked):
    client, _, _ = asked
    table = FileRange(EXPORT, 0, EXPORT.stat().st_size)
    batch = Batch((table,), CSV, NDJSON, mapping=open_mapping(MAPPING).text)

    def both(headers, pieces):
        lines = b"".join(pieces).splitlines()
        return read_as_of(headers), json.loads(lines[-1])["summary"]["read_as"]

    assert post(client._stream, batch, both) == (READ_AS, READ_AS)


def test_where_the_header_is_lost_it_is_asked_for(asked, tmp_path):
    client, paths, lost = asked
    lost.add(HEADER)
    summary = client.evaluate_table(EXPORT, MAPPING, out=tmp_path / "out.xlsx")
    assert summary.read_as == READ_AS
    assert len(paths) == 2
