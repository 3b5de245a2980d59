"""``weighworthy check KIND FILE``: judge one request."""

import argparse

from weighworthy.cli_common import (
    FOUND,
    OK,
    UsageError,
    add_service_options,
    asking,
    connect,
    read_document,
    write,
)
from weighworthy.cli_explained import explained
from weighworthy.cli_words import spoken


def add_to(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser(
        "check",
        help="judge one check",
        description="Judge one check. Exit code 1 when its verdict lets nothing be used.",
    )
    parser.add_argument("kind", help="span, linearity, simulated-loss, …")
    parser.add_argument("file", help="request, JSON or TOML; - for standard input")
    parser.add_argument(
        "--profile", metavar="NAME", help="a profile the service knows, instead of the request's"
    )
    parser.add_argument(
        "--explain", action="store_true", help="reckon every number of the answer by hand"
    )
    add_service_options(parser)
    parser.set_defaults(run=_check)


def _check(arguments: argparse.Namespace) -> int:
    request = read_document(arguments.file)
    if not isinstance(request, dict):
        raise UsageError(f"{arguments.file}: a request is an object")
    if arguments.profile is not None:
        request["profile"] = arguments.profile
    with connect(arguments) as client, asking():
        answer = client.evaluate(arguments.kind, request, explain=arguments.explain)
    if arguments.json:
        write(arguments, answer.raw.decode())
    elif not arguments.quiet or arguments.output:
        instrument = request.get("instrument")
        name = instrument if isinstance(instrument, str) else (instrument or {}).get("id")
        facts = [name, answer.check, request.get("occasion"), request.get("performed_at")]
        text = spoken(answer, "  ".join(str(f) for f in facts if f is not None))
        by_hand = f"\n\n{explained(answer.explanation)}" if arguments.explain else ""
        write(arguments, text + by_hand)
    return OK if answer.usable else FOUND
