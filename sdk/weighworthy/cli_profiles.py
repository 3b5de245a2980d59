"""``weighworthy profiles …``: list, get, review, resolve, compare and card."""

import argparse
from dataclasses import asdict
from pathlib import Path
from typing import Any

from weighworthy.cli_common import (
    FOUND,
    INCOMPLETE,
    OK,
    UsageError,
    add_service_options,
    asking,
    connect,
    expanded,
    load_argument,
    plain_json,
    profile_argument,
    read_lines,
    read_weights,
    tell,
    write,
)
from weighworthy.cli_compared import compared
from weighworthy.cli_reviewed import judged, remarks, settings
from weighworthy.cli_words import table
from weighworthy.profile_files import ProfileFile
from weighworthy.profile_toml import profile_to_toml

_PROFILE = "a file (TOML or JSON), - for standard input, or a name the service knows"
_LOAD = "names of weights that lie on the pan together, joined by +: A20+A10"


def add_to(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the commands."""
    parser = commands.add_parser("profiles", help="tolerance profiles")
    below = parser.add_subparsers(required=True, metavar="COMMAND")

    _command(below, "list", _list, "the profiles the service knows")

    get = _command(below, "get", _get, "one of them, with its parents' rules in it, as TOML")
    get.add_argument("name", help="id or id@revision")

    review = _command(
        below, "review", _review, "errors, remarks, and what the limits do; for CI pipelines"
    )
    review.add_argument("files", nargs="+", metavar="PROFILE", help=f"{_PROFILE}; wildcards too")
    _add_instruments(review)
    review.add_argument("--span", action="append", type=load_argument, metavar="LOAD", help=_LOAD)
    review.add_argument(
        "--linearity", action="append", type=load_argument, metavar="LOAD", help="once for a point"
    )
    review.add_argument(
        "--loss", nargs=2, type=load_argument, metavar=("INITIAL", "FINAL"), help="simulated loss"
    )
    review.add_argument("--strict", action="store_true", help="exit code 1 for warnings too")

    resolve = _command(below, "resolve", _resolve, "the settings in force, and where they stand")
    resolve.add_argument("profile", help=_PROFILE)
    resolve.add_argument("--instrument", required=True, metavar="ID", help="as the site names it")
    resolve.add_argument("--check", required=True, metavar="KIND")
    resolve.add_argument("--method")
    resolve.add_argument("--stage", choices=("as-found", "as-left"))
    resolve.add_argument("--load", type=load_argument, metavar="LOAD", help=_LOAD)

    compare = _command(below, "compare", _compare, "what a change of limits or weights changes")
    compare.add_argument("before", help=_PROFILE)
    compare.add_argument("after", nargs="?", help="the same; left out: only weights differ")
    _add_instruments(compare)
    compare.add_argument(
        "--past", action="append", metavar="FILE", help="past check requests, NDJSON"
    )
    compare.add_argument("--weights-before", metavar="FILE", help="old certificates: weights, TOML")
    compare.add_argument("--weights-after", metavar="FILE", help="new certificates: weights, TOML")
    compare.add_argument(
        "--exit-code", action="store_true", help="exit code 1 when anything differs"
    )

    card = _command(below, "card", _card, "the page for the bench: between what a check passes")
    card.add_argument("profile", help=_PROFILE)
    card.add_argument("--instrument", required=True, metavar="ID", help="as the site names it")
    card.add_argument("--check", required=True, metavar="KIND")
    card.add_argument("--load", action="append", type=load_argument, metavar="LOAD", help=_LOAD)
    card.add_argument("--initial", type=load_argument, metavar="LOAD")
    card.add_argument("--final", type=load_argument, metavar="LOAD")
    card.add_argument("--occasion")
    card.add_argument("--method")
    card.add_argument("--heating", action="store_true", default=None, help="of a simulated loss")
    card.add_argument("--on", metavar="DAY", help="the day it is for, YYYY-MM-DD")
    card.add_argument("--html", action="store_true", help="HTML; also by -o NAME.html")


def _command(below: Any, name: str, run: Any, text: str) -> argparse.ArgumentParser:
    parser: argparse.ArgumentParser = below.add_parser(name, help=text, description=text)
    add_service_options(parser)
    parser.set_defaults(run=run)
    return parser


def _add_instruments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--instrument",
        action="append",
        metavar="ID",
        help="as the site names it; may be repeated; left out: all of the site",
    )


def _list(arguments: argparse.Namespace) -> int:
    with connect(arguments) as client, asking():
        known = client.profiles.list()
    if arguments.json:
        write(arguments, plain_json(known))
        return OK
    rows = [
        (
            f"{row['id']}@{row['revision']}",
            row["effective_from"] or "",
            row["effective_to"] or "",
            row["digest"][:19],
            row["title"] or "",
        )
        for row in known["profiles"]
    ]
    write(arguments, table(("profile", "from", "to", "digest", "title"), rows))
    return OK


def _get(arguments: argparse.Namespace) -> int:
    with connect(arguments) as client, asking():
        known = client.profiles.get(arguments.name)
    write(arguments, plain_json(known) if arguments.json else profile_to_toml(known["document"]))
    return OK


def _review(arguments: argparse.Namespace) -> int:
    profiles = [profile_argument(name) for name in expanded_profiles(arguments.files)]
    loads: dict[str, Any] = {}
    if arguments.span:
        loads["span"] = arguments.span
    if arguments.linearity:
        loads["linearity"] = arguments.linearity
    if arguments.loss:
        initial, final = arguments.loss
        loads["simulated-loss"] = {"initial": initial, "final": final}
    answers: list[str] = []
    code = OK
    with connect(arguments) as client:
        for profile in profiles:
            with asking():
                review = client.profiles.review(
                    profile, instruments=arguments.instrument, loads=loads or None
                )
            name = named(profile)
            warned = any(remark.severity == "warning" for remark in review.remarks)
            if not review.usable or (arguments.strict and warned):
                code = FOUND
            if arguments.json:
                answers.append(with_source(profile, "review", review.raw))
                continue
            answers += remarks(name, review, errors_only=arguments.quiet)
            if review.profile is not None:
                found = "usable" if review.usable else "NOT usable"
                tell(arguments, f"{name}: {review.profile.id}@{review.profile.revision} {found}")
            if review.judgement and not arguments.quiet:
                answers.append(judged(review))
    if answers:
        write(arguments, "\n".join(answers))
    return code


def _resolve(arguments: argparse.Namespace) -> int:
    profile = profile_argument(arguments.profile)
    with connect(arguments) as client, asking():
        resolution = client.profiles.resolve(
            profile,
            instrument=arguments.instrument,
            check=arguments.check,
            method=arguments.method,
            stage=arguments.stage,
            load=arguments.load,
        )
    if arguments.json:
        write(arguments, with_source(profile, "resolution", resolution.raw))
    else:
        write(arguments, settings(named(profile), resolution))
    return OK


def _compare(arguments: argparse.Namespace) -> int:
    if arguments.after is None and not (arguments.weights_before or arguments.weights_after):
        raise UsageError("compare with what? Name a second profile, or --weights-after FILE")
    before = profile_argument(arguments.before)
    after = before if arguments.after is None else profile_argument(arguments.after)
    past = list(read_lines(arguments.past or ()))
    with connect(arguments) as client, asking():
        comparison = client.profiles.compare(
            before,
            after,
            instruments=arguments.instrument,
            requests=[request for _, request in past],
            weights_before=read_weights(arguments.weights_before),
            weights_after=read_weights(arguments.weights_after),
        )
    text = comparison.raw.decode() if arguments.json else compared(comparison, past)
    write(arguments, text)
    verdicts = comparison.verdicts or {}
    if verdicts.get("refused"):
        return INCOMPLETE
    differs = comparison.changes or verdicts.get("changed")
    return FOUND if arguments.exit_code and differs else OK


def _card(arguments: argparse.Namespace) -> int:
    html = arguments.html or str(arguments.output).lower().endswith((".html", ".htm"))
    if html and arguments.json:
        raise UsageError("--json or HTML, not both")
    loads = arguments.load
    if loads is not None and arguments.check != "linearity":
        if len(loads) > 1:
            raise UsageError("only linearity takes several loads")
        loads = loads[0]
    with connect(arguments) as client, asking():
        card = client.profiles.card(
            profile_argument(arguments.profile),
            instrument=arguments.instrument,
            check=arguments.check,
            load=loads,
            initial=arguments.initial,
            final=arguments.final,
            occasion=arguments.occasion,
            method=arguments.method,
            heating=arguments.heating,
            performed_on=arguments.on,
            form="json" if arguments.json else "html" if html else "text",
        )
    write(arguments, card.text)
    return OK


def named(profile: str | ProfileFile) -> str:
    """What people know the profile by."""
    return profile if isinstance(profile, str) else profile.name


def with_source(profile: str | ProfileFile, what: str, raw: bytes) -> str:
    """An answer as the service gave it, and which file begins at which line of what was sent."""
    parts = [] if isinstance(profile, str) else [asdict(part) for part in profile.parts.values()]
    head = plain_json({"profile": named(profile), "parts": parts}).removesuffix("}")
    return f'{head}, "{what}": {raw.decode()}}}'


def expanded_profiles(patterns: list[str]) -> list[str]:
    """Files that patterns mean; what looks like no file is a name the service knows."""
    names: list[str] = []
    for pattern in patterns:
        is_file = any(sign in pattern for sign in "*?[/\\.") and "@" not in Path(pattern).name
        names += expanded([pattern]) if is_file else [pattern]
    return names
