"""``weighworthy sitting FILE``: judge several checks of one balance together."""

import argparse
from collections.abc import Iterator, Mapping
from typing import Any

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
from weighworthy.cli_words import SHAPES, USE, spoken
from weighworthy.sittings import Sitting

_STATES = {"possible": "can be", "not-alone": "not alone", "contradicted": "ruled out"}


def add_to(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser(
        "sitting",
        help="judge several checks of one balance together",
        description="Judge several checks of one balance together, and tell what can be behind a "
        "failure. Exit code 1 when the balance must not be used.",
    )
    parser.add_argument(
        "file", help="what the checks have in common, and `checks`; JSON or TOML; - for input"
    )
    parser.add_argument(
        "--profile", metavar="NAME", help="a profile the service knows, instead of the request's"
    )
    add_service_options(parser)
    parser.set_defaults(run=_sitting)


def _sitting(arguments: argparse.Namespace) -> int:
    request = read_document(arguments.file)
    if not isinstance(request, dict):
        raise UsageError(f"{arguments.file}: a sitting is an object with its checks")
    if arguments.profile is not None:
        request["profile"] = arguments.profile
    with connect(arguments) as client, asking():
        sitting = client.evaluate_sitting(request)
    if arguments.json:
        write(arguments, sitting.raw.decode())
    elif not arguments.quiet or arguments.output:
        write(arguments, "\n".join(_told(sitting, request)))
    return OK if sitting.usable else FOUND


def _told(sitting: Sitting, request: Mapping[str, Any]) -> Iterator[str]:
    instrument = request.get("instrument")
    name = instrument if isinstance(instrument, str) else (instrument or {}).get("id")
    facts = [name, f"{len(sitting.answers)} checks", request.get("performed_at")]
    yield "  ".join(str(fact) for fact in facts if fact is not None)
    line = f"  {SHAPES[sitting.verdict]}: {USE[sitting.usable]}"
    if sitting.verdict_as_found != sitting.verdict:
        line += f"   (as found: {SHAPES[sitting.verdict_as_found]})"
    if sitting.verdict == "void" and sitting.verdict_if_valid is not None:
        line += f"   (validly done it would be: {SHAPES[sitting.verdict_if_valid]})"
    yield line
    for reason in sitting.because:
        where = "" if reason.index is None else f"check {reason.index + 1}, "
        yield f"    {where}{reason.check}: {reason.sentence}"
    yield from (f"    {f['severity']}: {f['message']} [{f['code']}]" for f in sitting.findings)
    for index, answer in enumerate(sitting.answers):
        yield ""
        yield spoken(answer, f"check {index + 1}  {answer.check}")
    yield from _losses(sitting)
    yield from _causes(sitting)
    yield from _fed(sitting)


def _losses(sitting: Sitting) -> Iterator[str]:
    for loss in sitting.losses:
        yield f"\ncheck {loss['index'] + 1} as the sitting shows it"
        if loss["constant_gain"] is not None:
            yield f"  {loss['constant_gain']['message']}"
        yield from (f"  {one['message']}" for one in loss["linearity"])


def _causes(sitting: Sitting) -> Iterator[str]:
    evidence = sitting.evidence
    for failed in evidence["failed"]:
        yield f"\nwhat can be behind {failed['criterion']} of check {failed['index'] + 1}"
        for state, word in _STATES.items():
            for cause in failed["causes"]:
                if cause["state"] == state:
                    yield f"  {word:<9}  {cause['message']}"
        yield from (f"  {'never':<9}  {one['message']}" for one in failed["cannot"])
        yield from (f"  next       {step['message']}" for step in failed["next"])
    if len(evidence["failed"]) > 1:
        names = ", ".join(one["message"] for one in evidence["alone"])
        yield f"\nbehind all of it at once: {names or 'no single cause that is known here'}"
    apart = [one["message"] for one in evidence["compared"] if not one["agrees"]]
    if apart:
        yield "\nwhat cannot be both"
        yield from (f"  {message}" for message in apart)


def _fed(sitting: Sitting) -> Iterator[str]:
    if sitting.as_fed is None:
        return
    yield "\nwith what this sitting found out about the balance (beside the verdict, not in it)"
    for feeding in sitting.as_fed["feedings"]:
        yield f"  {feeding['message']}"
        for effect in feeding["effects"]:
            yield (
                f"    {effect['criterion']}: U {effect['expanded_uncertainty']} → "
                f"{effect['expanded_uncertainty_fed']} {effect['unit']}, "
                f"{SHAPES[effect['verdict']]} → {SHAPES[effect['verdict_fed']]}"
            )
