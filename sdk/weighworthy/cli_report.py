"""``weighworthy report``: a check, a status, a drift or a batch as a document for people."""

import argparse
import json
import sys
from collections.abc import Mapping
from typing import Any

from weighworthy.cli_common import (
    OK,
    UsageError,
    add_service_options,
    asking,
    connect,
    read_document,
    read_text,
    writing,
)
from weighworthy.client import Client
from weighworthy.reports import Report

# What tells an answer from a request.
_ANSWERS = ("criteria", "instruments", "series", "answers")
_ENDINGS = (".pdf", ".html", ".htm")


def add_to(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser(
        "report",
        help="an answer as a document for people, PDF or HTML",
        description="Draw a request, which is judged for it, or an answer that was kept, which is "
        "taken at its word, as a document: PDF or HTML by the name of the output.",
    )
    parser.add_argument(
        "file",
        metavar="ANSWER|REQUEST",
        help="a request (JSON, TOML), the answer to one, a sealed record, the answer to logbook "
        "status or drift, or the .ndjson answers of a table; - for standard input",
    )
    parser.add_argument(
        "--request", metavar="FILE", help="the request of an answer: then the report has readings"
    )
    parser.add_argument(
        "--check", metavar="KIND", help="what a request is of, where it does not say so itself"
    )
    parser.add_argument(
        "--lang", choices=("en", "de"), default="en", help="the language of the report"
    )
    add_service_options(parser)
    parser.set_defaults(run=_report)


def _report(arguments: argparse.Namespace) -> int:
    output = arguments.output
    if output is not None and not output.lower().endswith(_ENDINGS):
        raise UsageError(f"{output}: a report is .pdf or .html")
    if arguments.json:
        raise UsageError("--json: a report is a document for people; leave it out")
    with connect(arguments) as client, asking():
        report = _drawn(client, arguments)
    if output is None:
        sys.stdout.write(report.html)
    else:
        with writing(output):
            report.save(output)
    return OK


def _drawn(client: Client, arguments: argparse.Namespace) -> Report:
    language, name = arguments.lang, arguments.file
    if name.lower().endswith(".ndjson"):
        return client.reports.of_batch(_lines(name), language=language)
    document = _read(name)
    if "record_version" in document:
        answer, request = document.get("answer"), document.get("request")
        return client.reports.of_answer(_object(name, answer), request, language=language)
    if any(key in document for key in _ANSWERS):
        request = None if arguments.request is None else _read(arguments.request)
        return client.reports.of_answer(document, request, language=language)
    if "checks" in document:
        return client.reports.of_sitting(document, language=language)
    kind = arguments.check or document.get("check")
    if not isinstance(kind, str):
        raise UsageError(f"{name}: say by --check what it is of: span, linearity, …")
    return client.reports.of_check(kind, document, language=language)


def _read(name: str) -> Mapping[str, Any]:
    """A document; numbers of an answer stay floats, whose shortest text has its digits."""
    if name == "-" or name.lower().endswith(".json"):
        try:
            return _object(name, json.loads(read_text(name)))
        except (ValueError, RecursionError) as error:
            raise UsageError(f"{name}: {error}") from error
    return _object(name, read_document(name))


def _object(name: str, document: Any) -> Mapping[str, Any]:
    if not isinstance(document, dict):
        raise UsageError(f"{name}: neither a request nor an answer")
    return document


def _lines(name: str) -> list[Mapping[str, Any]]:
    rows = []
    for number, line in enumerate(read_text(name).split("\n"), start=1):
        if line.strip():
            try:
                rows.append(_object(f"{name}:{number}", json.loads(line)))
            except (ValueError, RecursionError) as error:
                raise UsageError(f"{name}:{number}: not JSON: {error}") from error
    return rows
