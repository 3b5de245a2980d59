"""The command on several tables, on folders and on standard input."""

import shutil
import subprocess
import sys
from io import BytesIO, TextIOWrapper
from pathlib import Path

import pytest

from weighworthy.cli import main

EXAMPLES = Path(__file__).parents[2] / "examples" / "tables"
EXPORT, MAPPING = EXAMPLES / "harbour.csv", EXAMPLES / "harbour.toml"


@pytest.fixture(autouse=True)
def clean(monkeypatch):
    for name in ("WEIGHWORTHY_URL", "WEIGHWORTHY_API_KEY"):
        monkeypatch.delenv(name, raising=False)


@pytest.fixture
def exports(tmp_path):
    """Two tables, and one of other columns; beside them what is no table."""
    folder = tmp_path / "exports"
    folder.mkdir()
    for name in ("march.csv", "april.csv"):
        shutil.copy(EXPORT, folder / name)
    (folder / "other.csv").write_text("a;b\n1;2\n", "utf-8")
    (folder / "~$march.xlsx").write_bytes(b"")
    (folder / "notes.doc").write_bytes(b"")
    return folder


def evaluate(*arguments):
    options = ["--mapping", str(MAPPING), "--processes", "1"]
    return main(["evaluate", *map(str, arguments), *options])


def test_a_folder_of_tables_into_a_folder(exports, tmp_path, capsys):
    out = tmp_path / "judged"
    # The failing check of the example would be 1; a table that cannot be used is 2.
    assert evaluate(exports, "-o", out) == 2
    assert sorted(f.name for f in out.iterdir()) == ["april.csv", "march.csv"]
    said = capsys.readouterr().err
    assert "other.csv: " in said
    assert said.count("42 rows: 40 judged") == 2
    assert evaluate(EXPORT, "-o", tmp_path / "one.csv") == 1
    assert (out / "march.csv").read_bytes() == (tmp_path / "one.csv").read_bytes()


def test_patterns_are_expanded_by_the_command(exports, tmp_path):
    out = tmp_path / "judged"
    out.mkdir()
    assert evaluate(exports / "ma*.csv", exports / "april.csv", "-o", out, "--json") == 1
    assert sorted(f.name for f in out.iterdir()) == ["april.ndjson", "march.ndjson"]


def test_one_table_into_a_folder(exports, tmp_path):
    assert evaluate(exports / "march.csv", "-o", f"{tmp_path}/new/") == 1
    assert (tmp_path / "new" / "march.csv").exists()


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["exports/march.csv", "exports/april.csv"], "name a folder"),
        (["exports/*.csv", "-o", "out.csv"], "name a folder"),
        (["exports", "-o", "exports"], "not written over"),
        (["exports/march.csv", "two/march.csv", "-o", "out"], "would both become"),
        (["nothing"], "no such file: nothing"),
        (["two/*.xlsx"], "no such file"),
        (["empty"], "no table in this folder"),
    ],
)
def test_wrong_usage(  # noqa: PLR0917
    exports, tmp_path, monkeypatch, capsys, arguments, said
):
    monkeypatch.chdir(tmp_path)
    for name in ("two", "empty"):
        (tmp_path / name).mkdir()
    shutil.copy(EXPORT, tmp_path / "two" / "march.csv")
    before = (exports / "march.csv").read_bytes()
    assert evaluate(*arguments) == 2
    assert said in capsys.readouterr().err
    assert (exports / "march.csv").read_bytes() == before
    assert not (tmp_path / "out.csv").exists()


def test_standard_input(tmp_path, monkeypatch):
    assert evaluate(EXPORT, "-o", tmp_path / "file.csv") == 1
    monkeypatch.setattr(sys, "stdin", TextIOWrapper(BytesIO(EXPORT.read_bytes())))
    assert evaluate("-", "-o", tmp_path / "input.csv") == 1
    assert (tmp_path / "input.csv").read_bytes() == (tmp_path / "file.csv").read_bytes()


def test_a_draft_of_standard_input(tmp_path):
    command = [sys.executable, "-m", "weighworthy.cli", "mapping", "draft"]
    of_file = subprocess.run([*command, EXPORT], check=True, capture_output=True).stdout
    with EXPORT.open("rb") as export:
        piped = subprocess.run([*command, "-"], check=True, capture_output=True, stdin=export)
    assert piped.stdout == of_file
