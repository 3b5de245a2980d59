"""Tables on the command line: files, patterns, folders, standard input; where answers go."""

import argparse
import os
import shutil
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory

from weighworthy.cli_common import UsageError, expanded

# What is taken from a folder; any other file can be named.
_IN_FOLDERS = (".csv", ".tsv", ".xlsx", ".xlsm")
_WORKBOOKS = (".xlsx", ".xlsm")
_STDIN = "standard-input"
READING = ("encoding", "delimiter", "decimal", "thousands")
_TAB = {"tab": "\t", "\\t": "\t"}


def add_reading_options(parser: argparse.ArgumentParser) -> None:
    """Options that say how a table is read, whatever its mapping says."""
    parser.add_argument("--sheet", metavar="NAME", help="the sheet of the workbook")
    for name in READING:
        parser.add_argument(
            f"--{name}", metavar="TEXT", help=f"state `{name}` in place of the mapping"
        )


def reading(arguments: argparse.Namespace, names: Sequence[str] = READING) -> dict[str, str]:
    """What the options state of the table."""
    stated = {name: getattr(arguments, name) for name in names}
    return {name: _TAB.get(text, text) for name, text in stated.items() if text is not None}


def tables_of(patterns: Sequence[str]) -> list[str]:
    """The tables that patterns and folders mean, each once. Raises `UsageError`."""
    found: dict[str, None] = {}
    for name in expanded(patterns):
        if name == "-" or not os.path.isdir(name):
            if name != "-" and not os.path.exists(name):
                raise UsageError(f"{name}: no such file")
            found[name] = None
            continue
        tables = sorted(str(f) for f in Path(name).iterdir() if _is_table(f))
        if not tables:
            raise UsageError(f"{name}: no table in this folder ({', '.join(_IN_FOLDERS)})")
        found.update(dict.fromkeys(tables))
    return list(found)


def _is_table(file: Path) -> bool:
    # Those of hidden names are notes of programs, such as ~$book.xlsx of one that is open.
    return file.suffix.lower() in _IN_FOLDERS and file.name[0] not in ".~" and file.is_file()


@contextmanager
def table_file(name: str) -> Iterator[Path]:
    """The file of a table; standard input is read into one, to be looked at more than once."""
    if name != "-":
        yield Path(name)
        return
    with TemporaryDirectory(prefix="weighworthy-") as folder:
        path = Path(folder) / _STDIN
        with path.open("wb") as file:
            shutil.copyfileobj(sys.stdin.buffer, file)
        yield path


def output_folder(output: str | None, tables: Sequence[str]) -> Path | None:
    """The folder that the answers belong into; None: there is one answer. Raises `UsageError`."""
    named = output is not None and output.endswith(("/", os.sep))
    if output is not None and (named or os.path.isdir(output)):
        return Path(output)
    if len(tables) == 1:
        return None
    if output is None or Path(output).suffix or os.path.exists(output):
        raise UsageError(f"{len(tables)} tables: name a folder for the answers: -o FOLDER")
    return Path(output)


def outputs_in(folder: Path, tables: Sequence[str], *, lines: bool) -> list[Path]:
    """Where each answer goes: under the name of its table, in the form that it has, or as lines of
    JSON. Raises `UsageError`."""
    outputs: dict[Path, str] = {}
    for name in tables:
        table = Path(_STDIN if name == "-" else name)
        end = ".ndjson" if lines else ".xlsx" if table.suffix.lower() in _WORKBOOKS else ".csv"
        out = folder / f"{table.stem}{end}"
        if out in outputs:
            raise UsageError(f"{outputs[out]} and {name} would both become {out}")
        outputs[out] = name
    for out in outputs:
        if out.exists() and any(out.samefile(name) for name in tables if name != "-"):
            raise UsageError(f"{out}: the command reads this file; it is not written over")
    return list(outputs)
