"""A table in pieces, over processes and after an interruption: always the same bytes."""

import io
import sys
import tomllib
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from weighworthy import Client, TableNotUsable, pieces, table_pieces
from weighworthy.pieces import cut, head_of
from weighworthy_service.tables.csv_rows import csv_rows
from weighworthy_service.tables.encoding import text_lines
from weighworthy_service.tables.table_section import ENCODINGS, TableLimits

EXAMPLES = Path(__file__).parents[2] / "examples" / "tables"
MAPPING = EXAMPLES / "harbour.toml"
sys.path.insert(0, str(EXAMPLES))
lines = __import__("make_export").lines
sys.path.remove(str(EXAMPLES))


@pytest.fixture(scope="module")
def client():
    with Client.embedded() as made:
        yield made


@pytest.fixture
def export(tmp_path):
    def made(rows, *, encoding="utf-8", change=lambda text: text):
        path = tmp_path / "export.csv"
        text = change("\r\n".join(lines(rows)) + "\r\n")
        path.write_bytes(text.encode(encoding))
        return path

    return made


def small_pieces(monkeypatch, size=6_000):
    monkeypatch.setattr(table_pieces, "PIECE", size)
    # The beginning that is sent first must still be one that settles everything.
    assert pieces.PIECE > 1_000_000


def quoted(text):
    """Some remarks in quotes, over two lines; and one quotation mark that nothing closes."""
    out = text.replace(";=see note\r\n", ';"see\r\nnote; ""two"""\r\n')
    return out.replace("R1200;", '"R1200;', 1)


CHANGES = {
    "plain": ({}, lambda text: text),
    "quotes": ({}, quoted),
    "marked": ({"encoding": "utf-8-sig"}, lambda text: text),
    # The first letter outside ASCII comes in the last piece.
    "cp1252": ({"encoding": "cp1252"}, lambda text: text.replace("R1295", "Rührwerk")),
    "sep": ({}, lambda text: "sep=;\r\n" + text),
    "sep tab": ({}, lambda text: "sep=\t\r\n" + text.replace(";", "\t")),
    "line feeds": ({}, lambda text: text.replace("\r\n", "\n").rstrip("\n")),
}


@pytest.mark.parametrize("form", [".csv", ".ndjson", ".xlsx"])
@pytest.mark.parametrize("name", CHANGES)
def test_the_same_bytes_in_one_piece_and_in_many(  # noqa: PLR0917
    client, export, tmp_path, monkeypatch, name, form
):
    options, change = CHANGES[name]
    path = export(300, change=change, **options)
    one, many = tmp_path / f"one{form}", tmp_path / f"many{form}"
    alone = client.evaluate_table(path, MAPPING, out=one)
    small_pieces(monkeypatch)
    split = client.evaluate_table(path, MAPPING, out=many)
    assert alone.pieces == 1
    assert split.pieces > 3
    assert split.rows_in == alone.rows_in > 300
    assert split.rows_judged > 280
    assert (split.rows_judged, split.rows_in_error) == (alone.rows_judged, alone.rows_in_error)
    assert split.verdicts == alone.verdicts
    assert split.read_as == alone.read_as
    assert many.read_bytes() == one.read_bytes()
    assert list(tmp_path.glob("*.journal")) == []


def test_the_same_bytes_from_processes(client, export, tmp_path, monkeypatch):
    path = export(300, change=quoted)
    one, many = tmp_path / "one.csv", tmp_path / "many.csv"
    client.evaluate_table(path, MAPPING, out=one)
    small_pieces(monkeypatch)
    summary = client.evaluate_table(path, MAPPING, out=many, processes=2)
    assert summary.pieces > 3
    assert many.read_bytes() == one.read_bytes()


class Interrupted(Exception):  # noqa: N818
    pass


def test_after_an_interruption_nothing_is_done_twice(client, export, tmp_path, monkeypatch):
    path = export(300)
    whole, out = tmp_path / "whole.csv", tmp_path / "out.csv"
    small_pieces(monkeypatch, 2_500)
    undisturbed = client.evaluate_table(path, MAPPING, out=whole)

    def until_half(progress):
        if progress.share > 0.5:
            raise Interrupted

    with pytest.raises(Interrupted):
        client.evaluate_table(path, MAPPING, out=out, progress=until_half)
    assert not out.exists()
    done = len(list((tmp_path / "out.csv.journal").glob("part-*.json")))
    assert 1 < done < undisturbed.pieces
    summary = client.evaluate_table(path, MAPPING, out=out)
    assert summary.resumed == done
    assert summary.rows_in == undisturbed.rows_in
    assert out.read_bytes() == whole.read_bytes()
    assert not (tmp_path / "out.csv.journal").exists()


@pytest.mark.parametrize("what", ["the table", "the mapping", "the profile"])
def test_what_has_changed_is_told_and_done_anew(client, export, tmp_path, monkeypatch, what):
    path, mapping, out = export(300), tmp_path / "m.toml", tmp_path / "out.csv"
    mapping.write_text(MAPPING.read_text("utf-8"), "utf-8")
    small_pieces(monkeypatch)

    def stop(progress):
        if progress.share > 0.5:
            raise Interrupted

    with pytest.raises(Interrupted):
        client.evaluate_table(path, mapping, out=out, progress=stop)
    profile = None
    if what == "the table":
        path.write_bytes(path.read_bytes().replace(b"K. Strand", b"L. Strand"))
    elif what == "the mapping":
        mapping.write_text(mapping.read_text("utf-8") + "\n# more\n", "utf-8")
    else:
        profile = {
            "id": "tight",
            "revision": "1",
            "title": "tight",
            "rules": [{"limits": {"loss_error": {"within": "0.001 %"}}}],
        }
    summary = client.evaluate_table(path, mapping, out=out, profile=profile)
    assert summary.resumed == 0
    assert any(f"started anew: {what} changed" in note for note in summary.notes)


def test_gathered_tables_and_tables_with_an_end_stay_whole(client, export, tmp_path, monkeypatch):
    path = export(300)
    small_pieces(monkeypatch)
    document = tomllib.loads(MAPPING.read_text("utf-8"))
    ended = {**document, "table": {"stop_at": "200"}}
    summary = client.evaluate_table(path, ended, out=tmp_path / "out.csv")
    assert summary.pieces == 1
    # Title, blank row, row 200 and all behind it.
    assert summary.rows_judged + summary.rows_in_error == 199


def test_a_nul_far_behind_is_told_by_the_service(client, export, tmp_path, monkeypatch):
    path = export(300, change=lambda text: text.replace("R1290", "R12\0"))
    small_pieces(monkeypatch)
    with pytest.raises(TableNotUsable) as caught:
        client.evaluate_table(path, MAPPING, out=tmp_path / "out.csv")
    assert [error.code for error in caught.value.errors] == ["nul-byte"]


PARTS = st.sampled_from(
    ['"', '""', ";", "\n", "\r\n", "a", "ü", " ", '";"', "x" * 40, '"\n', ";7;"]
)


@pytest.mark.parametrize("limits", [TableLimits(), TableLimits(cell=50, line=120)])
@settings(max_examples=150, deadline=None)
@example(text='a;"b\nc;d\n\ne;f";g\n1;2\n3;"4\n5;6"\n7;8')
@example(text='1;"2;a\r\nb;3"\n' * 2 + '1;"2;a\nb;3"\n' * 2 + '1;"b;a\nb;c"\n' * 2)
@example(text="x" * 40 + '";"' + "x" * 40 + "\n" + "x" * 40)
@given(text=st.lists(PARTS, max_size=60).map("".join))
def test_pieces_hold_the_records_that_the_service_reads(tmp_path_factory, limits, text):
    path = tmp_path_factory.getbasetemp() / "odd.csv"
    path.write_bytes(("a;b\n" + text).encode())
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(pieces, "_LONGEST_CELL", limits.cell)
        patch.setattr(pieces, "_LONGEST_LINE", limits.line)
        assert_same_records(path, limits)


def test_the_client_knows_the_limits_of_the_service():
    assert (TableLimits().cell, TableLimits().line) == (pieces._LONGEST_CELL, pieces._LONGEST_LINE)
    assert set(ENCODINGS) >= pieces.CUTTABLE


def test_a_record_longer_than_a_cell_is_in_one_piece(tmp_path):
    cell = '"' + ("n" * 79 + "\n") * 256 + '"'
    path = tmp_path / "long.csv"
    path.write_bytes(("a;b;c\n" + f"{cell};{cell};{cell}\n" * 3 + "1;2;3\n").encode())
    head = head_of(path, ";", "utf-8", 1)
    found = cut(path, head, delimiter=";", encoding="utf-8", quotes=True, size=1)
    assert [piece.first_row for piece in found] == [1, 3, 4, 5]
    assert_same_records(path, TableLimits())


def assert_same_records(path, limits):
    """What a row is, the service says."""

    def rows(raw, first):
        return list(csv_rows(text_lines(io.BytesIO(raw), "utf-8", limits.line), ";", limits, first))

    raw = path.read_bytes()
    head = head_of(path, ";", "utf-8", 1)
    found = []
    for piece in cut(path, head, delimiter=";", encoding="utf-8", quotes=True, size=8):
        found += rows(raw[piece.offset : piece.offset + piece.length], piece.first_row)
    assert found == rows(raw, 1)


@pytest.mark.parametrize("broken", [1, 40])
def test_a_broken_quote_before_a_long_stretch_of_rows(tmp_path, broken):
    text = "a;b\n" + '"open;1\n' * broken + "1;2\n" * 20_000 + '3;"4\n4"\n' + "5;6\n"
    path = tmp_path / "long.csv"
    path.write_bytes(text.encode())
    limits = TableLimits()
    expected = [
        row[1] if isinstance(row, tuple) else row.number
        for row in csv_rows(
            text_lines(io.BytesIO(text.encode()), "utf-8", limits.line), ";", limits
        )
    ]
    head = head_of(path, ";", "utf-8", 1)
    ends = list(cut(path, head, delimiter=";", encoding="utf-8", quotes=True, size=1))
    assert ends[0].first_row == 1
    assert ends[-1].first_row == expected[-1]
    assert len(ends) == len(expected) - 1
