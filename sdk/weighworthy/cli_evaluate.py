"""``weighworthy evaluate TABLE``: the table as it came, with a verdict in every row."""

import argparse
import os
import shutil
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from weighworthy.cli_common import (
    FOUND,
    INCOMPLETE,
    INTERRUPTED,
    OK,
    USAGE,
    UsageError,
    add_service_options,
    asking,
    connect,
    tell,
)
from weighworthy.cli_profile_arguments import profile_argument
from weighworthy.cli_tables import (
    add_reading_options,
    output_folder,
    outputs_in,
    reading,
    table_file,
    tables_of,
)
from weighworthy.client import Client
from weighworthy.errors import FULL, MappingNotUsable, TableFileError, TableNotUsable
from weighworthy.progress import silent, terminal
from weighworthy.tables import TableSummary

# The worst of several tables gives the exit code.
_WORST = (OK, FOUND, INCOMPLETE, USAGE)


def add_to(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser(
        "evaluate",
        help="judge the rows of a spreadsheet export",
        description="Judge the rows of a table, CSV or a workbook. The output is the table as it\n"
        "came with columns that begin with ww_ (.csv, .xlsx), or whole answers (.ndjson).\n"
        "Without -o it goes to standard output, as CSV, or with --json as lines of JSON.\n"
        "Of several tables the answers go into a folder, each under the name of its table.\n"
        "Cut off and called again with the same -o, it goes on where it was.",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument(
        "tables",
        nargs="+",
        metavar="TABLE",
        help="exports: .csv, .tsv, .txt, .xlsx, .xlsm; patterns, folders, - for standard input",
    )
    parser.add_argument(
        "--mapping",
        metavar="FILE",
        required=True,
        help="which column feeds which field, TOML or JSON; or the name of one the service has",
    )
    parser.add_argument(
        "--profile", metavar="FILE", help="the tolerance profile, a file or a name: id@revision"
    )
    add_reading_options(parser)
    parser.add_argument(
        "--processes",
        type=int,
        metavar="N",
        help="how many work at it (without --url: as many as the computer has cores)",
    )
    parser.add_argument(
        "--no-resume", action="store_true", help="begin anew, whatever an earlier run has done"
    )
    add_service_options(parser)
    parser.set_defaults(run=_evaluate)


def _evaluate(arguments: argparse.Namespace) -> int:
    tables = tables_of(arguments.tables)
    folder = output_folder(arguments.output, tables)
    try:
        with connect(arguments) as client:
            if folder is None:
                out = None if arguments.output is None else Path(arguments.output)
                return _code(arguments, _judged(client, arguments, tables[0], out))
            return _all(client, arguments, tables, folder)
    except KeyboardInterrupt:
        tell(arguments, f"\ninterrupted{_again(arguments)}")
        return INTERRUPTED
    except OSError as error:
        if error.errno in FULL:
            tell(arguments, f"broken off{_again(arguments)}")
        raise


def _again(arguments: argparse.Namespace) -> str:
    return "; the same command goes on where it was" if arguments.output else ""


def _all(client: Client, arguments: argparse.Namespace, tables: Sequence[str], folder: Path) -> int:
    """Each table by itself: what is wrong with one keeps no other from being judged."""
    outputs = outputs_in(folder, tables, lines=arguments.json)
    with file_faults():
        folder.mkdir(exist_ok=True)
    codes = set()
    for table, out in zip(tables, outputs, strict=True):
        tell(arguments, f"{table}:")
        try:
            codes.add(_code(arguments, _judged(client, arguments, table, out)))
        except (UsageError, TableNotUsable, MappingNotUsable) as error:
            print(f"weighworthy: {table}: {error}", file=sys.stderr)  # noqa: T201
            codes.add(USAGE)
    return max(codes, key=_WORST.index)


def _code(arguments: argparse.Namespace, summary: TableSummary) -> int:
    """Say what came of a table, and give its exit code."""
    for note in summary.notes:
        tell(arguments, f"note: {note}")
    tell(arguments, read(summary.read_as))
    tell(arguments, told(summary))
    for rows, count, said in (
        (summary.rows_unusable, summary.unusable, "not to be used"),
        (summary.rows_faulty, summary.rows_in_error, "in error"),
    ):
        if rows:
            more = ", …" if len(rows) < count else ""
            tell(arguments, f"{said}: {'row' if count == 1 else 'rows'} {_list(rows)}{more}")
    if summary.rows_in_error:
        return INCOMPLETE
    return FOUND if summary.unusable else OK


def _list(rows: Sequence[int]) -> str:
    return ", ".join(map(str, rows))


def _judged(
    client: Client, arguments: argparse.Namespace, table: str, out: Path | None
) -> TableSummary:
    if out is not None:
        return _written(client, arguments, table, out)
    with TemporaryDirectory(prefix="weighworthy-") as folder:
        out = Path(folder) / ("answer.ndjson" if arguments.json else "answer.csv")
        summary = _written(client, arguments, table, out)
        with out.open("rb") as file:
            shutil.copyfileobj(file, sys.stdout.buffer)
    return summary


def _written(client: Client, arguments: argparse.Namespace, table: str, out: Path) -> TableSummary:
    profile = None if arguments.profile is None else profile_argument(arguments.profile)
    with file_faults(), table_file(table) as path, asking():
        return client.evaluate_table(
            path,
            arguments.mapping,
            profile=profile,
            out=out,
            sheet=arguments.sheet,
            reading=reading(arguments),
            processes=_processes(arguments),
            progress=silent if arguments.quiet else terminal(),
            resume=not arguments.no_resume,
        )


class file_faults:  # noqa: N801 - used like `asking`, as a context manager
    """Around work with files: what is wrong with one is wrong usage, told without its trace."""

    def __enter__(self) -> None:
        return

    def __exit__(self, _type: Any, error: BaseException | None, _trace: Any) -> None:
        if isinstance(error, TableFileError):
            raise UsageError(str(error)) from error
        if isinstance(error, BrokenPipeError):
            return
        if isinstance(error, OSError) and error.errno not in FULL:
            name = f"{error.filename}: " if error.filename else ""
            raise UsageError(f"{name}{error.strerror or error}") from error


def _processes(arguments: argparse.Namespace) -> int | None:
    if arguments.processes is not None:
        if arguments.processes < 1:
            raise UsageError("--processes is at least 1")
        return int(arguments.processes)
    if arguments.url or os.environ.get("WEIGHWORTHY_URL"):
        return None
    try:
        return len(os.sched_getaffinity(0))
    except AttributeError:  # not on this system
        return os.cpu_count() or 1


def told(summary: TableSummary) -> str:
    """``20,000 rows: 19,990 judged, 4 in error, 6 skipped; 19,990 checks: 19,800 pass, …``."""
    rows = (
        f"{_many(summary.rows_in, 'row')}: {summary.rows_judged:,} judged, "
        f"{summary.rows_in_error:,} in error, {summary.rows_skipped:,} skipped"
    )
    verdicts = ", ".join(f"{count:,} {name}" for name, count in summary.verdicts.items())
    checks = _many(summary.checks, "check")
    resumed = ""
    if summary.resumed:
        resumed = f" ({summary.resumed} of {summary.pieces} pieces were done before)"
    return f"{rows}; {checks}{f': {verdicts}' if verdicts else ''}{resumed}"


def _many(number: int, one: str) -> str:
    return f"1 {one}" if number == 1 else f"{number:,} {one}s"


def read(read_as: Mapping[str, Any]) -> str:
    """``read as utf-8, delimiter ";", decimal ",", header in row 3 (assumed: encoding)``."""
    parts = [str(read_as["encoding"])] if read_as.get("encoding") else []
    if read_as.get("sheet") is not None:
        parts.append(f"sheet {read_as['sheet']!r}")
    delimiter = read_as.get("delimiter")
    if delimiter is not None:
        parts.append("delimiter tab" if delimiter == "\t" else f'delimiter "{delimiter}"')
    parts += [f'{name} "{read_as[name]}"' for name in ("decimal", "thousands") if read_as.get(name)]
    row = read_as.get("header_row")
    parts.append(f"header in row {row}" if row else "no header")
    assumed = ", ".join(read_as.get("assumed", ()))
    return f"read as {', '.join(parts)}{f' (assumed: {assumed})' if assumed else ''}"
