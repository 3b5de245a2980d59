"""``weighworthy weights import``: reference weights out of a digital calibration certificate."""

import argparse
import json
from datetime import UTC, datetime

from weighworthy.certificates import read_certificate
from weighworthy.cli_common import OK, UsageError, day_argument, read_bytes, tell, write
from weighworthy.dcc_xml import CertificateError


def add_to(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    weights = commands.add_parser("weights", help="reference weights and their certificates")
    actions = weights.add_subparsers(required=True, metavar="ACTION")
    parser = actions.add_parser(
        "import",
        help="weights of a digital calibration certificate (DCC)",
        description="Write the weights of a certificate (DCC XML, version 3) as the table "
        "`weights` of a site file. Which number is a conventional mass, and of which weight, is "
        "never guessed: what the certificate does not say, the options do.",
    )
    parser.add_argument("certificate", help="the file, XML; - for standard input")
    parser.add_argument(
        "--name",
        action="append",
        default=[],
        metavar="MARK=NAME",
        help="call the weight of this mark, id or name in the certificate so; can be repeated",
    )
    parser.add_argument(
        "--quantity",
        metavar="TEXT",
        help="refType or name of the quantity that is the conventional mass",
    )
    parser.add_argument(
        "--in-order", action="store_true", help="results stand in the order of the items"
    )
    parser.add_argument(
        "--due-on", type=day_argument, metavar="DAY", help="until when you use the weights"
    )
    parser.add_argument("--json", action="store_true", help="as JSON, as a request has it")
    parser.add_argument("-o", "--output", metavar="FILE", help="write it to a file")
    parser.add_argument("--quiet", action="store_true", help="leave out the notes")
    parser.set_defaults(run=_import)


def _import(arguments: argparse.Namespace) -> int:
    names = {}
    for text in arguments.name:
        mark, separator, name = text.partition("=")
        if not (separator and mark and name):
            raise UsageError(f"--name {text}: write it as MARK=NAME")
        names[mark] = name
    try:
        found = read_certificate(
            read_bytes(arguments.certificate),
            names=names,
            quantity=arguments.quantity,
            in_order=arguments.in_order,
            due_on=arguments.due_on,
        )
    except CertificateError as error:
        raise UsageError(f"{arguments.certificate}: {error}") from error
    whole = json.dumps(dict(found.weights), ensure_ascii=False, indent=2)
    write(arguments, whole if arguments.json else found.to_toml())
    for note in found.notes:
        tell(arguments, f"note: {note}")
    if arguments.due_on is None:
        tell(arguments, "note: until when the weights may be used, no certificate says: --due-on")
    elif arguments.due_on < datetime.now(UTC).date().isoformat():
        tell(arguments, f"note: the weights were due on {arguments.due_on}")
    return OK
