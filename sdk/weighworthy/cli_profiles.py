"""``weighworthy profiles …``: list, get, review, resolve, compare and card."""

import argparse
import re
from collections.abc import Iterator
from contextlib import contextmanager
from functools import partial
from typing import Any

from weighworthy.cli_common import (
    FOUND,
    INCOMPLETE,
    OK,
    UsageError,
    add_service_options,
    asking,
    connect,
    day_argument,
    load_argument,
    plain_json,
    progress_line,
    read_lines,
    read_object,
    read_weights,
    tell,
    write,
)
from weighworthy.cli_compared import Past, compared
from weighworthy.cli_profile_arguments import (
    asking_by_options,
    named,
    profile_argument,
    with_source,
)
from weighworthy.cli_review import review_profiles
from weighworthy.cli_reviewed import settings, units_of
from weighworthy.cli_words import table
from weighworthy.profile_toml import profile_to_toml
from weighworthy.profiles import Form

_PROFILE = "a file (TOML or JSON), - for standard input, or a name the service knows"
_LOADS = "what a check without a load is tried with, as in the `loads` of a review,"
_LOAD = "names of weights that lie on the pan together, joined by +: A20+A10"


def add_to(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the commands."""
    parser = commands.add_parser("profiles", help="tolerance profiles")
    below = parser.add_subparsers(required=True, metavar="COMMAND")

    _command(below, "list", _list, "the profiles the service knows")

    get = _command(below, "get", _get, "one of them, with its parents' rules in it, as TOML")
    get.add_argument("name", help="id or id@revision")

    review = _command(
        below,
        "review",
        review_profiles,
        "errors, remarks, and what the limits do; for CI pipelines",
    )
    review.add_argument(
        "files", nargs="+", metavar="PROFILE", help=f"{_PROFILE}; wildcards and folders too"
    )
    _add_instruments(review)
    review.add_argument("--span", action="append", type=load_argument, metavar="LOAD", help=_LOAD)
    review.add_argument(
        "--linearity", action="append", type=load_argument, metavar="LOAD", help="once for a point"
    )
    review.add_argument(
        "--loss", nargs=2, type=load_argument, metavar=("INITIAL", "FINAL"), help="simulated loss"
    )
    review.add_argument(
        "--load", action="append", nargs=2, metavar=("KIND", "LOAD"), help="of any other kind"
    )
    review.add_argument(
        "--loads", metavar="FILE", help="what checks are tried with, by kind; TOML or JSON"
    )
    _add_day(review)
    review.add_argument("--strict", action="store_true", help="exit code 1 for warnings too")

    resolve = _command(below, "resolve", _resolve, "the settings in force, and where they stand")
    resolve.add_argument("profile", help=_PROFILE)
    resolve.add_argument("--instrument", required=True, metavar="ID", help="as the site names it")
    resolve.add_argument("--check", required=True, metavar="KIND")
    resolve.add_argument("--method")
    resolve.add_argument("--stage", choices=("as-found", "as-left"))
    resolve.add_argument("--load", type=load_argument, metavar="LOAD", help=_LOAD)
    _add_day(resolve)

    compare = _command(below, "compare", _compare, "what a change of limits or weights changes")
    compare.add_argument("before", help=_PROFILE)
    compare.add_argument("after", nargs="?", help="the same; left out: only weights differ")
    _add_instruments(compare)
    compare.add_argument(
        "--past", action="append", metavar="FILE", help="past check requests, NDJSON"
    )
    compare.add_argument("--weights-before", metavar="FILE", help="old certificates: weights, TOML")
    compare.add_argument("--weights-after", metavar="FILE", help="new certificates: weights, TOML")
    _add_day(compare)
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
    card.add_argument("--loads", metavar="FILE", help=f"{_LOADS} of this kind; TOML or JSON")
    card.add_argument("--occasion")
    card.add_argument("--method")
    card.add_argument("--heating", action="store_true", default=None, help="of a simulated loss")
    _add_day(card)
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


def _add_day(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--on",
        type=day_argument,
        metavar="DAY",
        help="the day that decides which revision a name means, YYYY-MM-DD",
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


def _resolve(arguments: argparse.Namespace) -> int:
    profile = profile_argument(arguments.profile)
    with connect(arguments) as client, asking_by_options():
        resolution = client.profiles.resolve(
            profile,
            instrument=arguments.instrument,
            check=arguments.check,
            method=arguments.method,
            stage=arguments.stage,
            load=arguments.load,
            performed_on=arguments.on,
        )
        # An answer has figures without their units; those of criteria are told with the kinds.
        figures = any((s.lower_limit, s.upper_limit) != (None, None) for s in resolution.settings)
        units = units_of(client.kinds()) if figures and not arguments.json else {}
    if arguments.json:
        write(arguments, with_source(profile, "resolution", resolution.raw))
    else:
        write(arguments, settings(named(profile), resolution, units))
    return OK


def _compare(arguments: argparse.Namespace) -> int:
    if arguments.after is None and not (arguments.weights_before or arguments.weights_after):
        raise UsageError("compare with what? Name a second profile, or --weights-after FILE")
    before = profile_argument(arguments.before)
    after = before if arguments.after is None else profile_argument(arguments.after)
    past = list(read_lines(arguments.past or ()))
    with connect(arguments) as client, asking_by_options(), _naming(past):
        comparison = client.profiles.compare(
            before,
            after,
            instruments=arguments.instrument,
            requests=[request for _, request in past],
            weights_before=read_weights(arguments.weights_before),
            weights_after=read_weights(arguments.weights_after),
            performed_on=arguments.on,
            progress=progress_line(arguments),
        )
    text = comparison.raw.decode() if arguments.json else compared(comparison, past)
    write(arguments, text)
    verdicts = comparison.verdicts or {}
    if verdicts.get("refused"):
        return INCOMPLETE
    differs = comparison.changes or verdicts.get("changed")
    return FOUND if arguments.exit_code and differs else OK


@contextmanager
def _naming(past: Past) -> Iterator[None]:
    """What the client says of one of the past checks, with its place in the file."""
    try:
        yield
    except (TypeError, ValueError) as error:
        found = re.match(r"requests\[([0-9]+)\]: ", str(error))
        if found is None:
            raise
        place, _ = past[int(found[1])]
        raise UsageError(f"{place}: {str(error).removeprefix(found[0])}") from error


def _card(arguments: argparse.Namespace) -> int:
    html = arguments.html or str(arguments.output).lower().endswith((".html", ".htm"))
    if html and arguments.json:
        raise UsageError("--json or HTML, not both")
    several = arguments.load
    load = several[0] if several is not None and len(several) == 1 else several
    loads = None if arguments.loads is None else read_object(arguments.loads)
    form: Form = "json" if arguments.json else "html" if html else "text"
    with connect(arguments) as client, asking_by_options():
        ask = partial(
            client.profiles.card,
            profile_argument(arguments.profile),
            instrument=arguments.instrument,
            check=arguments.check,
            load=load,
            initial=arguments.initial,
            final=arguments.final,
            occasion=arguments.occasion,
            method=arguments.method,
            heating=arguments.heating,
            loads=loads,
            performed_on=arguments.on,
        )
        # Page and text are for people; whether the check can pass stands in the document.
        found = ask(form="json")
        card = found if form == "json" else ask(form=form)
    write(arguments, card.text)
    for obstacle in found.obstacles:
        tell(arguments, f"no pass: {obstacle}")
    return FOUND if found.obstacles else OK
