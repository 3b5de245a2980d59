"""``weighworthy evaluate TABLE``: the table as it came, with a verdict in every row."""

import argparse
import os
import shutil
import sys
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from weighworthy.cli_common import (
    FOUND,
    INCOMPLETE,
    OK,
    UsageError,
    add_service_options,
    asking,
    connect,
    tell,
)
from weighworthy.cli_profile_arguments import profile_argument
from weighworthy.errors import TableFileError
from weighworthy.progress import silent, terminal
from weighworthy.tables import TableSummary

_READING = ("encoding", "delimiter", "decimal", "thousands")
_TAB = {"tab": "\t", "\\t": "\t"}


def add_to(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser(
        "evaluate",
        help="judge the rows of a spreadsheet export",
        description="Judge the rows of a table, CSV or a workbook. The output is the table as it\n"
        "came with columns that begin with ww_ (.csv, .xlsx), or whole answers (.ndjson).\n"
        "Without -o it goes to standard output, as CSV, or with --json as lines of JSON.\n"
        "Cut off and called again with the same -o, it goes on where it was.",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("table", help="the export: .csv, .tsv, .txt, .xlsx, .xlsm")
    parser.add_argument(
        "--mapping",
        metavar="FILE",
        required=True,
        help="which column feeds which field, TOML or JSON; or the name of one the service has",
    )
    parser.add_argument(
        "--profile", metavar="FILE", help="the tolerance profile, a file or a name: id@revision"
    )
    parser.add_argument("--sheet", metavar="NAME", help="the sheet of the workbook")
    for name in _READING:
        parser.add_argument(
            f"--{name}", metavar="TEXT", help=f"state `{name}` in place of the mapping"
        )
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
    if not Path(arguments.table).is_file():
        raise UsageError(f"{arguments.table}: no such file")
    try:
        summary = _put_out(arguments)
    except KeyboardInterrupt:
        again = "; the same command goes on where it was" if arguments.output else ""
        tell(arguments, f"\ninterrupted{again}")
        return INCOMPLETE
    for note in summary.notes:
        tell(arguments, f"note: {note}")
    tell(arguments, told(summary))
    if summary.rows_in_error:
        return INCOMPLETE
    return FOUND if summary.unusable else OK


def _put_out(arguments: argparse.Namespace) -> TableSummary:
    if arguments.output is not None:
        return _judged(arguments, Path(arguments.output))
    with TemporaryDirectory(prefix="weighworthy-") as folder:
        out = Path(folder) / ("answer.ndjson" if arguments.json else "answer.csv")
        summary = _judged(arguments, out)
        with out.open("rb") as file:
            shutil.copyfileobj(file, sys.stdout.buffer)
    return summary


def _judged(arguments: argparse.Namespace, out: Path) -> TableSummary:
    profile = None if arguments.profile is None else profile_argument(arguments.profile)
    with connect(arguments) as client, file_faults(), asking():
        return client.evaluate_table(
            arguments.table,
            arguments.mapping,
            profile=profile,
            out=out,
            sheet=arguments.sheet,
            reading=reading(arguments, _READING),
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
        if isinstance(error, OSError) and not isinstance(error, BrokenPipeError):
            name = f"{error.filename}: " if error.filename else ""
            raise UsageError(f"{name}{error.strerror or error}") from error


def reading(arguments: argparse.Namespace, names: tuple[str, ...]) -> dict[str, str]:
    """What the options state of the table."""
    stated = {name: getattr(arguments, name) for name in names}
    return {name: _TAB.get(text, text) for name, text in stated.items() if text is not None}


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
        f"{summary.rows_in:,} rows: {summary.rows_judged:,} judged, "
        f"{summary.rows_in_error:,} in error, {summary.rows_skipped:,} skipped"
    )
    verdicts = ", ".join(f"{count:,} {name}" for name, count in summary.verdicts.items())
    checks = "1 check" if summary.checks == 1 else f"{summary.checks:,} checks"
    resumed = ""
    if summary.resumed:
        resumed = f" ({summary.resumed} of {summary.pieces} pieces were done before)"
    return f"{rows}; {checks}{f': {verdicts}' if verdicts else ''}{resumed}"
