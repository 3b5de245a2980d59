"""``weighworthy plan loss|tolerance|sample|product FILE``: before anybody weighs."""

import argparse
from collections.abc import Callable, Iterable, Iterator, Mapping
from textwrap import wrap
from typing import Any

from weighworthy.cli_common import (
    FOUND,
    OK,
    UsageError,
    add_service_options,
    asking,
    connect,
    read_document,
    tell,
    write,
)
from weighworthy.cli_plan_words import loss_told, product_told, sample_told, tolerance_told
from weighworthy.plans import Plan

_WIDTH = 100

Told = Callable[[Plan], Iterable[str]]
# By action: the plan, its words, what it is, and what makes it a finding.
_ACTIONS: Mapping[str, tuple[str, Told, str]] = {
    "loss": (
        "simulated-loss",
        loss_told,
        (
            "which weights to put on and which to lift off in a simulated loss; exit code 1 where "
            "no combination has all that is asked"
        ),
    ),
    "tolerance": (
        "tolerance",
        tolerance_told,
        (
            "the tightest honest tolerances of a balance, and which class of weights they need; "
            "exit code 1 where a wanted tolerance is not honest"
        ),
    ),
    "sample": (
        "sample",
        sample_told,
        "the smallest sample; exit code 1 where it is above the capacity, or no mass will do",
    ),
    "product": (
        "product",
        product_told,
        (
            "limits from what a product needs, as a profile; exit code 1 where no honest limits "
            "keep its part; -o writes the profile, as TOML, and with --json the answer"
        ),
    ),
}


def add_to(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    plan = commands.add_parser("plan", help="weights, tolerances, samples, before anybody weighs")
    actions = plan.add_subparsers(required=True, metavar="ACTION")
    for action, (_, _, about) in _ACTIONS.items():
        sentence = f"{about[0].upper()}{about[1:]}."
        parser = actions.add_parser(action, help=about.partition(";")[0], description=sentence)
        parser.add_argument("file", help="what is asked, JSON or TOML; - for standard input")
        add_service_options(parser)
        parser.set_defaults(run=_plan, action=action)


def _plan(arguments: argparse.Namespace) -> int:
    name, told, _ = _ACTIONS[arguments.action]
    request = read_document(arguments.file)
    if not isinstance(request, dict):
        raise UsageError(f"{arguments.file}: a request for a plan is an object")
    with connect(arguments) as client, asking():
        plan = client.plans.ask(name, request)
    if arguments.json:
        write(arguments, plan.raw.decode())
    elif arguments.action == "product" and arguments.output:
        _write_profile(arguments, plan)
    elif not arguments.quiet or arguments.output:
        write(arguments, _folded([*told(plan), *_beside(plan)]))
    return FOUND if _is_finding(arguments.action, plan) else OK


def _write_profile(arguments: argparse.Namespace, plan: Plan) -> None:
    output = arguments.output
    if plan["profile_toml"] is not None:
        write(arguments, plan["profile_toml"])
        tell(arguments, f"profile written: {output}; review it before anybody is judged by it")
    else:
        tell(arguments, f"no profile, and nothing written to {output}")
    if not arguments.quiet:
        arguments.output = None
        write(arguments, _folded([*product_told(plan), *_beside(plan)]))


def _folded(parts: Iterable[str]) -> str:
    """Sentences as long as a line; rows of tables, which have two blanks in them, stay whole."""
    lines = []
    for line in "\n".join(parts).split("\n"):
        text = line.lstrip(" ")
        blanks = " " * (len(line) - len(text))
        if len(line) <= _WIDTH or "  " in text:
            lines.append(line)
        else:
            lines += wrap(text, _WIDTH, initial_indent=blanks, subsequent_indent=f"{blanks}  ")
    return "\n".join(lines)


def _beside(plan: Plan) -> Iterator[str]:
    """What every plan says at its end."""
    if plan.assumed:
        yield "\nAssumed, as nobody states it:"
        yield from (f"  {a['field']}: {a['value']} ({a['because']})" for a in plan.assumed)
    yield ""
    yield from plan.cautions


def _is_finding(action: str, plan: Plan) -> Any:
    if action == "loss":
        return not plan["options"]
    if action == "tolerance":
        return any(
            row["within"] is None or row["wanted_is_honest"] is False for row in plan["tolerances"]
        )
    if action == "sample":
        return plan["weigh_at_least"] is None or plan["above_capacity"]
    return not plan["attainable"]
