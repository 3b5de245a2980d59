"""``weighworthy logbook …``: from entries to what may be used, what is in doubt, what drifts."""

import argparse
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from weighworthy.cli_common import FOUND, OK, add_service_options, write
from weighworthy.cli_logbook_advice import advised, signalled
from weighworthy.cli_logbook_book import answered, chosen, instant_argument, results
from weighworthy.cli_logbook_drift import drifted, drifting
from weighworthy.cli_logbook_status import in_use, standing
from weighworthy.cli_logbook_support import as_csv, supported, unsettled
from weighworthy.cli_logbook_words import LocalTimes, local_times
from weighworthy.cli_tables import add_reading_options
from weighworthy.logbook import LogbookAnswer

Run = Callable[[argparse.Namespace], int]


def add_to(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the commands."""
    parser = commands.add_parser(
        "logbook",
        help="conclude from a logbook: what may be used, what is in doubt, what drifts",
        description="Conclude from the entries of a logbook, as of one moment.",
    )
    below = parser.add_subparsers(required=True, metavar="QUESTION")

    status = _command(below, "status", _status, "may the instruments be used, and what is next")
    _add_why(status)
    _add_instruments(status)

    support = _command(below, "support", _support, "which results are supported or in doubt")
    support.add_argument(
        "--results", metavar="FILE", help="results, JSON lines; left out: the logbook's"
    )
    support.add_argument("--csv", action="store_true", help="all results as CSV")
    _add_why(support)
    _add_instruments(support)

    drift = _command(below, "drift", _drift, "how errors as found drift")
    drift.add_argument("--chart", action="store_true", help="a control chart for each series")
    drift.add_argument(
        "--rule",
        action="append",
        type=int,
        metavar="N",
        help="a run rule of Nelson's eight, by number; may be repeated; left out: 1 and 2",
    )
    drift.add_argument(
        "--baseline", type=int, metavar="N", help="first points that control limits rest on"
    )
    _add_why(drift)
    _add_instruments(drift)
    _add_exit_code(drift, "a series drifts")

    intervals = _command(below, "intervals", _intervals, "are checks done often enough")
    intervals.add_argument(
        "--reliability",
        metavar="SHARE",
        help="wanted in tolerance at the end of an interval, like '95 %%'",
    )
    _add_why(intervals)
    _add_instruments(intervals)
    _add_exit_code(intervals, "a shorter interval is advised")

    signals = _command(below, "signals", _signals, "what only several balances together show")
    signals.add_argument(
        "--due-within", type=int, metavar="DAYS", help="how early a weight is told to be due"
    )
    _add_why(signals)
    _add_exit_code(signals, "something stands out")


def _command(
    below: "argparse._SubParsersAction[argparse.ArgumentParser]", name: str, run: Run, help_: str
) -> argparse.ArgumentParser:
    parser = below.add_parser(name, help=help_, description=f"{help_[0].upper()}{help_[1:]}.")
    parser.add_argument(
        "book",
        nargs="?",
        metavar="BOOK",
        help="the logbook: JSON lines, the first with all but the entries; or one JSON"
        " document; - for standard input; may be left out with --table",
    )
    parser.add_argument(
        "--table",
        metavar="FILE",
        help="an export whose rows are checks: .csv, .tsv, .txt, .xlsx, .xlsm; -",
    )
    parser.add_argument(
        "--mapping",
        metavar="FILE",
        help="which column of the table feeds which field, TOML or JSON",
    )
    add_reading_options(parser)
    parser.add_argument(
        "--at",
        type=instant_argument,
        metavar="TIME",
        help="the moment that is asked about, with its offset; left out: the logbook's, else now",
    )
    parser.add_argument(
        "--profile", metavar="FILE", help="what is required: a file, or a name: id@revision"
    )
    parser.add_argument(
        "--calendar", metavar="FILE", help="working time, TOML or JSON: time_zone, shifts, closed"
    )
    parser.set_defaults(run=run)
    add_service_options(parser)
    return parser


def _add_why(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--why", action="store_true", help="the entries and rules it rests on")


def _add_instruments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--instrument",
        action="append",
        metavar="ID",
        help="tell of this one only; may be repeated (--json has all)",
    )


def _add_exit_code(parser: argparse.ArgumentParser, when: str) -> None:
    parser.add_argument("--exit-code", action="store_true", help=f"exit code 1 when {when}")


def _status(arguments: argparse.Namespace) -> int:
    answer = answered(arguments, "status", {})
    rows = chosen(arguments, answer.instruments, _names(answer.instruments))
    _put(arguments, answer, lambda t: standing(answer, rows, t, why=arguments.why))
    return FOUND if in_use(rows) else OK


def _support(arguments: argparse.Namespace) -> int:
    answer = answered(arguments, "support", {"results": results(arguments.results)})
    rows = chosen(arguments, answer.results, _names(answer.results))
    if arguments.csv and not arguments.json:
        write(arguments, as_csv(rows))
    else:
        _put(arguments, answer, lambda t: supported(answer, rows, t, why=arguments.why))
    return FOUND if unsettled(rows) else OK


def _drift(arguments: argparse.Namespace) -> int:
    options = {"run_rules": arguments.rule, "baseline": arguments.baseline}
    answer = answered(arguments, "drift", options)
    rows = chosen(arguments, answer.data["series"], _names(answer.data["left_out"]))
    chart, why = arguments.chart, arguments.why
    _put(arguments, answer, lambda t: drifted(answer, rows, t, chart=chart, why=why))
    return FOUND if arguments.exit_code and drifting(rows) else OK


def _intervals(arguments: argparse.Namespace) -> int:
    answer = answered(arguments, "intervals", {"reliability": arguments.reliability})
    told = answer.data["intervals"]
    rows = chosen(arguments, told, {name for row in told for name in row["instruments"]})
    _put(arguments, answer, lambda t: advised(answer, rows, t, why=arguments.why))
    advice = {row["advice"] for row in (*rows, *answer.data["together"])}
    return FOUND if arguments.exit_code and "shorter" in advice else OK


def _signals(arguments: argparse.Namespace) -> int:
    answer = answered(arguments, "signals", {"due_within": arguments.due_within})
    _put(arguments, answer, lambda t: signalled(answer, t, why=arguments.why))
    return FOUND if arguments.exit_code and answer.summary["signals"] else OK


def _names(rows: Sequence[Mapping[str, Any]]) -> set[str]:
    return {row["instrument"] for row in rows}


def _put(
    arguments: argparse.Namespace, answer: LogbookAnswer, text: Callable[[LocalTimes], str]
) -> None:
    if arguments.json:
        write(arguments, answer.raw.decode())
    elif not arguments.quiet or arguments.output:
        write(arguments, text(local_times(answer)))
