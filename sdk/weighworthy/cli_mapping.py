"""``weighworthy mapping draft``: a first mapping for a table, with its doubts."""

import argparse
import os

from weighworthy.cli_common import (
    OK,
    UsageError,
    add_service_options,
    asking,
    connect,
    plain_json,
    tell,
    write,
)
from weighworthy.cli_evaluate import file_faults
from weighworthy.cli_tables import reading, table_file, tables_of

_READING = ("encoding", "delimiter", "header_row")


def add_to(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    mapping = commands.add_parser("mapping", help="mappings: which column feeds which field")
    actions = mapping.add_subparsers(required=True, metavar="ACTION")
    parser = actions.add_parser(
        "draft",
        help="write a first mapping for a table",
        description="Write a first mapping for a table, as TOML. What is in doubt stands in it as "
        "comments; read them all before you use it.",
    )
    parser.add_argument("table", help="the export: .csv, .tsv, .txt, .xlsx, .xlsm; -")
    parser.add_argument("--check", metavar="KIND", help="span, linearity, simulated-loss, …")
    parser.add_argument("--sheet", metavar="NAME", help="the sheet of the workbook")
    for name in _READING:
        parser.add_argument(
            f"--{name.replace('_', '-')}", metavar="TEXT", help=f"state `{name}` of the table"
        )
    parser.add_argument(
        "--replace", action="store_true", help="write over the output if it is there already"
    )
    add_service_options(parser)
    parser.set_defaults(run=_draft)


def _draft(arguments: argparse.Namespace) -> int:
    _spare_finished(arguments)
    table = tables_of([arguments.table])
    if len(table) > 1:
        raise UsageError(f"{arguments.table}: {len(table)} tables; a draft is of one")
    with connect(arguments) as client, file_faults(), table_file(table[0]) as path, asking():
        draft = client.draft_mapping(
            path,
            check=arguments.check,
            sheet=arguments.sheet,
            reading=reading(arguments, _READING),
        )
    for note in draft.notes:
        tell(arguments, f"note: {note}")
    whole = {"toml": draft.toml, "doubts": list(draft.doubts)}
    write(arguments, plain_json(whole) if arguments.json else draft.toml)
    count = len(draft.doubts)
    if count:
        tell(arguments, f"{count} doubt{'' if count == 1 else 's'}: see the comments")
    return OK


def _spare_finished(arguments: argparse.Namespace) -> None:
    """Other outputs can be made again; a mapping that a person has completed cannot."""
    out = arguments.output
    if arguments.replace or out is None or not os.path.isfile(out) or not os.path.getsize(out):
        return
    raise UsageError(
        f"{out}: it is there already, and what was completed in it by hand would be lost; name "
        "another file, or say --replace"
    )
