"""Two runs at once, a full disk, an interruption: what is told, and what is left to go on from."""

import errno
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import openpyxl
import pytest

from weighworthy import Client, table_pieces
from weighworthy.errors import MappingNotUsable

EXAMPLES = Path(__file__).parents[2] / "examples" / "tables"
EXPORT, MAPPING = EXAMPLES / "harbour.csv", EXAMPLES / "harbour.toml"
# Pieces of some lines, so that a small table is one of many.
SCRIPT = """
import sys
from weighworthy import table_pieces
from weighworthy.cli import main
table_pieces.PIECE = int(sys.argv[1])
sys.exit(main(sys.argv[2:]))
"""


@pytest.fixture(scope="module")
def client():
    with Client.embedded() as made:
        yield made


@pytest.fixture
def long(tmp_path):
    path = tmp_path / "long.csv"
    lines = EXPORT.read_bytes().splitlines(keepends=True)
    path.write_bytes(b"".join(lines[:3]) + b"".join(lines[3:]) * 100)
    return path


@pytest.fixture
def book(long):
    made = openpyxl.Workbook()
    made.active.title = "Bench"
    for line in long.read_text("utf-8").splitlines()[:600]:
        cells = line.split(";")
        made.active.append([cells[0], *cells[1:8], *map(number, cells[8:11]), *cells[11:]])
    notes = made.create_sheet("Notes")
    for row in range(50):
        notes.append([f"note {row}"])
    path = long.with_suffix(".xlsx")
    made.save(path)
    return path


def number(text):
    return float(text.replace(",", ".")) if text[:1].isdigit() else text


def command(size, table, out):
    script = table.parent / "script.py"
    script.write_text(SCRIPT, "utf-8")
    options = ["--mapping", str(MAPPING), "-o", str(out), "--processes", "1"]
    return [sys.executable, str(script), str(size), "evaluate", str(table), *options]


def run(*arguments, **options):
    return subprocess.run(
        arguments, capture_output=True, text=True, timeout=300, check=False, **options
    )


def wait_for(found):
    deadline = time.monotonic() + 200
    while not found() and time.monotonic() < deadline:
        time.sleep(0.02)
    assert found()


def test_a_second_run_at_the_same_output_is_refused_and_the_first_goes_on(long, tmp_path):
    whole, out = tmp_path / "whole.csv", tmp_path / "out.csv"
    assert run(*command(4_000, long, whole)).returncode == 1
    first = subprocess.Popen(command(4_000, long, out), stderr=subprocess.DEVNULL)
    wait_for((tmp_path / "out.csv.lock").exists)
    second = run(*command(4_000, long, out))
    assert second.returncode == 2
    assert f"another run writes it: process {first.pid} of this computer; " in second.stderr
    assert "Traceback" not in second.stderr
    assert first.wait(timeout=300) == 1
    assert out.read_bytes() == whole.read_bytes()
    assert not list(tmp_path.glob("out.csv.*"))


@pytest.mark.skipif(sys.platform == "win32", reason="has no limit on the size of files")
@pytest.mark.parametrize("form", ["csv", "xlsx"])
def test_no_room_for_the_output(long, tmp_path, form):
    """The limit on the size of a file stands for a disk that is full."""
    resource = pytest.importorskip("resource")
    whole, out = tmp_path / f"whole.{form}", tmp_path / f"out.{form}"
    assert run(*command(50_000, long, whole)).returncode == 1

    def little():
        # Each part fits, the whole does not.
        resource.setrlimit(resource.RLIMIT_FSIZE, (300_000, 300_000))

    stopped = run(*command(50_000, long, out), preexec_fn=little)
    assert stopped.returncode == 4
    assert f"weighworthy: {out}: {os.strerror(errno.EFBIG)}" in stopped.stderr
    assert "the same command goes on where it was" in stopped.stderr
    assert "Traceback" not in stopped.stderr
    assert not out.exists()
    again = run(*command(50_000, long, out))
    assert again.returncode == 1
    assert "pieces were done before)" in again.stderr
    assert out.read_bytes() == whole.read_bytes()
    assert not list(tmp_path.glob("out.*.*"))


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full here")
@pytest.mark.parametrize(
    "arguments", [["evaluate", EXPORT, "--mapping", MAPPING], ["profiles", "list"]]
)
def test_no_room_for_standard_output(arguments):
    with Path("/dev/full").open("wb") as full:
        done = subprocess.run(
            [sys.executable, "-m", "weighworthy.cli", *arguments],
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            check=False,
        )
    assert done.returncode == 4
    assert done.stderr.endswith(f"weighworthy: standard output: {os.strerror(errno.ENOSPC)}\n")
    assert "Traceback" not in done.stderr


@pytest.mark.skipif(sys.platform == "win32", reason="sends a signal")
def test_an_interruption_has_its_own_exit_code(long, tmp_path):
    out = tmp_path / "out.csv"

    def hears():
        # Whoever runs the tests may ignore interruptions, and children would, too.
        signal.signal(signal.SIGINT, signal.default_int_handler)

    running = subprocess.Popen(
        command(2_000, long, out),
        stderr=subprocess.PIPE,
        text=True,
        preexec_fn=hears,  # noqa: PLW1509 - no threads here
    )
    journal = tmp_path / "out.csv.journal"
    wait_for(lambda: list(journal.glob("part-*.json")))
    running.send_signal(signal.SIGINT)
    _, said = running.communicate(timeout=300)
    assert running.returncode == 130
    assert "interrupted; the same command goes on where it was" in said
    assert not (tmp_path / "out.csv.lock").exists()
    assert list(journal.glob("part-*.json"))


class Interrupted(Exception):  # noqa: N818
    pass


def after(share):
    def tell(progress):
        if progress.share > share:
            raise Interrupted

    return tell


@pytest.mark.parametrize("form", ["xlsx", "csv", "ndjson"])
def test_a_workbook_in_pieces_goes_on_where_it_was(client, book, tmp_path, monkeypatch, form):
    one, whole, out = (tmp_path / f"{name}.{form}" for name in ("one", "whole", "out"))
    alone = client.evaluate_table(book, MAPPING, out=one)
    monkeypatch.setattr(table_pieces, "PIECE", 10_000)
    undisturbed = client.evaluate_table(book, MAPPING, out=whole)
    assert alone.pieces == 1
    assert undisturbed.pieces > 5
    assert undisturbed.rows_in == alone.rows_in
    assert undisturbed.rows_unusable == alone.rows_unusable
    assert undisturbed.read_as == alone.read_as
    with pytest.raises(Interrupted):
        client.evaluate_table(book, MAPPING, out=out, progress=after(0.5))
    done = len(list((tmp_path / f"out.{form}.journal").glob("part-*.json")))

    def unread(*_):
        raise AssertionError("the workbook is read again")

    monkeypatch.setattr("weighworthy.tables.write_cells", unread)
    summary = client.evaluate_table(book, MAPPING, out=out)
    assert 1 < done == summary.resumed < summary.pieces
    assert summary.verdicts == alone.verdicts
    assert out.read_bytes() == whole.read_bytes() == one.read_bytes()


def test_two_runs_write_the_same_workbook_at_different_times(client, book, tmp_path):
    one, two = tmp_path / "one.xlsx", tmp_path / "two.xlsx"
    client.evaluate_table(book, MAPPING, out=one)
    time.sleep(2.1)  # an archive has two seconds as its step of time
    client.evaluate_table(book, MAPPING, out=two)
    assert one.read_bytes() == two.read_bytes()


def test_a_flipped_bit_in_a_piece_that_is_done_is_noticed(client, long, tmp_path, monkeypatch):
    whole, out = tmp_path / "whole.csv", tmp_path / "out.csv"
    monkeypatch.setattr(table_pieces, "PIECE", 20_000)
    client.evaluate_table(long, MAPPING, out=whole)
    with pytest.raises(Interrupted):
        client.evaluate_table(long, MAPPING, out=out, progress=after(0.5))
    part = tmp_path / "out.csv.journal" / "part-000001"
    flipped = bytearray(part.read_bytes())
    flipped[5000] ^= 1
    part.write_bytes(flipped)
    client.evaluate_table(long, MAPPING, out=out)
    assert out.read_bytes() == whole.read_bytes()


def test_a_profile_that_is_named_is_told_apart_from_the_mapping(
    client, long, tmp_path, monkeypatch
):
    out = tmp_path / "out.csv"
    monkeypatch.setattr(table_pieces, "PIECE", 20_000)
    with pytest.raises(Interrupted):
        client.evaluate_table(long, MAPPING, out=out, progress=after(0.5))
    summary = client.evaluate_table(long, MAPPING, out=out, profile="weighworthy-general@1")
    assert summary.notes == ("started anew: the profile changed since it was cut off",)


@pytest.mark.parametrize("table", ["csv", "xlsx"])
def test_a_run_that_is_refused_leaves_nothing(client, long, book, tmp_path, table):
    mapping = {"check": "simulated-loss", "columns": {"no_such_field": "Balance"}}
    folder = tmp_path / "out"
    folder.mkdir()
    with pytest.raises(MappingNotUsable):
        client.evaluate_table(long if table == "csv" else book, mapping, out=folder / "out.csv")
    assert list(folder.iterdir()) == []
