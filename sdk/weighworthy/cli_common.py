"""What the commands share: their service, their files, their exit codes."""

import argparse
import glob
import json
import os
import re
import sys
import tomllib
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

from weighworthy.client import Client
from weighworthy.errors import FULL, Invalid, ProfileFileError

# Lines within such a refusal count through a profile and its parents, as they were sent.
_IN_A_PROFILE = re.compile("(/before|/after)?/profile(_toml)?(/|$)")

# Options of some commands: files of keys for the service inside the command.
_KEYS = ("sealing_key", "seal_keys")

OK, FOUND, USAGE, INCOMPLETE, NO_SERVICE, INTERNAL = range(6)
# As shells have it: 128 and the number of the signal.
INTERRUPTED = 130


class UsageError(Exception):
    """The command was called with something that cannot work; exit code 2."""


def add_service_options(parser: argparse.ArgumentParser) -> None:
    """Options that say which service, which site, and how to answer."""
    group = parser.add_argument_group("service and output")
    group.add_argument(
        "--url", help="the service (or WEIGHWORTHY_URL); without one it runs inside this command"
    )
    group.add_argument(
        "--api-key-file",
        metavar="FILE",
        help="file that holds the API key (or WEIGHWORTHY_API_KEY holds the key itself)",
    )
    group.add_argument(
        "--profiles", metavar="FOLDER", help="profiles for the service inside this command"
    )
    group.add_argument(
        "--site", metavar="FILE", help="site file: weights, instruments, profile of the laboratory"
    )
    group.add_argument("--json", action="store_true", help="answer as JSON, as the service gave it")
    group.add_argument("-o", "--output", metavar="FILE", help="write the answer to a file")
    group.add_argument(
        "--quiet", action="store_true", help="say only what the exit code is about, or nothing"
    )


def connect(arguments: argparse.Namespace) -> Client:
    """The client that the options ask for. Raises `UsageError`."""
    url = arguments.url or os.environ.get("WEIGHWORTHY_URL")
    try:
        if url is None:
            keys = {name: getattr(arguments, name, None) for name in _KEYS}
            return Client.embedded(defaults=arguments.site, profiles=arguments.profiles, **keys)
        for name in _KEYS:
            if getattr(arguments, name, None) is not None:
                option = f"--{name.replace('_', '-')}"
                raise UsageError(
                    f"{option} is for the service inside this command; leave out --url"
                )
        if arguments.profiles is not None:
            raise UsageError("--profiles is for the service inside this command; leave out --url")
        return Client(url, api_key=_api_key(arguments), defaults=arguments.site)
    except ProfileFileError:
        raise
    except (OSError, TypeError, ValueError) as error:
        raise UsageError(str(error)) from error


@contextmanager
def asking() -> Iterator[None]:
    """Around a call of the client: what it refuses before sending is wrong usage."""
    try:
        yield
    except ProfileFileError:
        raise
    except (TypeError, ValueError) as error:
        raise UsageError(str(error)) from error


def _api_key(arguments: argparse.Namespace) -> str | None:
    if arguments.api_key_file is None:
        return os.environ.get("WEIGHWORTHY_API_KEY")
    return read_text(arguments.api_key_file).strip()


def expanded(patterns: Sequence[str]) -> list[str]:
    """The files that patterns mean, each once, in order; ``-`` stays standard input.

    A shell on Windows leaves wildcards to the program. A pattern without any file is a
    `UsageError`: a pipeline that checks nothing must not look like one that found nothing.
    """
    files: dict[str, None] = {}
    for pattern in patterns:
        if pattern == "-" or os.path.lexists(pattern):
            files[pattern] = None
            continue
        found = sorted(glob.glob(pattern, recursive=True)) if glob.has_magic(pattern) else []
        if not found:
            raise UsageError(f"no such file: {pattern}")
        files.update(dict.fromkeys(found))
    return list(files)


def spare_inputs(arguments: argparse.Namespace) -> None:
    """Raise `UsageError` where the output is one of the files that the command reads."""
    output = getattr(arguments, "output", None)
    if output is None or not os.path.isfile(output):
        return
    for name, value in vars(arguments).items():
        texts = value if isinstance(value, list) else [value]
        for text in texts if name != "output" else []:
            if isinstance(text, str) and any(os.path.samefile(output, f) for f in _meant(text)):
                raise UsageError(f"{output}: the command reads this file; it is not written over")


def _meant(text: str) -> Iterator[str]:
    """Files that an argument may mean: itself, those of a pattern, the documents of a folder."""
    for name in [text] if os.path.lexists(text) else glob.glob(text, recursive=True):
        if os.path.isdir(name):
            yield from (
                f for end in ("toml", "json") for f in glob.glob(f"{glob.escape(name)}/*.{end}")
            )
        elif os.path.exists(name):
            yield name


def read_bytes(name: str) -> bytes:
    """A file, or standard input for ``-``."""
    try:
        return sys.stdin.buffer.read() if name == "-" else Path(name).read_bytes()
    except OSError as error:
        raise UsageError(f"{name}: {error.strerror or error}") from error


def read_text(name: str) -> str:
    """Text of a file, or of standard input for ``-``; UTF-8, a byte order mark allowed."""
    try:
        return read_bytes(name).decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise UsageError(f"{name}: not UTF-8") from error


def read_document(name: str) -> Any:
    """A JSON or TOML file, told apart by its name; standard input by its first character."""
    text = read_text(name)
    is_json = text.lstrip()[:1] in ("{", "[") if name == "-" else name.lower().endswith(".json")
    try:
        if is_json:
            return json.loads(text, parse_float=Decimal)
        return tomllib.loads(text, parse_float=Decimal)
    except (ValueError, RecursionError) as error:
        raise UsageError(f"{name}: {error}") from error


def read_object(name: str) -> Mapping[str, Any]:
    """As `read_document`, of a file that has to hold an object."""
    document = read_document(name)
    if not isinstance(document, dict):
        raise UsageError(f"{name}: an object is needed")
    return document


def read_lines(names: Sequence[str]) -> Iterator[tuple[str, Mapping[str, Any]]]:
    """JSON objects, one a line, each with its ``file:line``; empty lines are passed over."""
    for name in expanded(names):
        for number, line in enumerate(read_text(name).split("\n"), start=1):
            if not line.strip():
                continue
            try:
                row = json.loads(line, parse_float=Decimal)
            except (ValueError, RecursionError) as error:
                raise UsageError(f"{name}:{number}: not JSON: {error}") from error
            if not isinstance(row, dict):
                raise UsageError(f"{name}:{number}: not a JSON object")
            yield f"{name}:{number}", row


def read_weights(name: str | None) -> Any:
    """The table ``weights`` of a TOML or JSON file, such as a site file."""
    if name is None:
        return None
    document = read_document(name)
    weights = document.get("weights") if isinstance(document, dict) else None
    if not isinstance(weights, dict):
        raise UsageError(f"{name}: there is no table of weights in it")
    return weights


def is_about_a_profile(error: Exception) -> bool:
    """Whether a refusal is about a profile that was sent, and nothing else."""
    return (
        isinstance(error, Invalid)
        and bool(error.errors)
        and all(_IN_A_PROFILE.match(fault.pointer) for fault in error.errors)
    )


def day_argument(text: str) -> str:
    """``2026-03-31``: a day there is."""
    try:
        if re.fullmatch("[0-9]{4}-[0-9]{2}-[0-9]{2}", text):
            return date.fromisoformat(text).isoformat()
    except ValueError:
        pass
    raise argparse.ArgumentTypeError(f"{text!r} is no day; write it as 2026-03-31")


def load_argument(text: str) -> list[str]:
    """``A20+A10``: the weights that lie on the pan together."""
    names = [name.strip() for name in text.split("+")]
    if not all(names):
        raise argparse.ArgumentTypeError(f"{text!r} is no load; join names of weights: A20+A10")
    return names


def plain_json(value: Any) -> str:
    """A document of the client, frozen as it is, as JSON."""

    def default(item: Any) -> Any:
        if isinstance(item, Mapping):
            return dict(item)
        if isinstance(item, Decimal):
            return int(item) if item == int(item) else float(item)
        raise TypeError(type(item).__name__)

    return json.dumps(value, ensure_ascii=False, default=default)


def write(arguments: argparse.Namespace, text: str) -> None:
    """Put the answer where it was asked for."""
    if not text.endswith("\n"):
        text += "\n"
    if arguments.output is None:
        sys.stdout.write(text)
        return
    with writing(arguments.output):
        Path(arguments.output).write_text(text, encoding="utf-8", newline="\n")


@contextmanager
def writing(output: str) -> Iterator[None]:
    """Around the writing of a file: that it cannot be is wrong usage, but not that all is full."""
    try:
        yield
    except OSError as error:
        if error.errno in FULL:
            error.filename = output
            raise
        raise UsageError(f"{output}: {error.strerror or error}") from error


def tell(arguments: argparse.Namespace, text: str) -> None:
    """Say something beside the answer."""
    if not arguments.quiet:
        print(text, file=sys.stderr)  # noqa: T201 - the command speaks here


def counted(number: Any, one: str, several: str) -> str:
    """``1 check``, ``2 checks``."""
    return f"{number} {one if number == 1 else several}"


def progress_line(arguments: argparse.Namespace) -> Callable[[int, int], None] | None:
    """Tells on one line how far the past checks are, where somebody sits before a terminal."""
    if arguments.quiet or not sys.stderr.isatty():
        return None

    def show(done: int, of: int) -> None:
        end = "\r" + 40 * " " + "\r" if done == of else ""
        sys.stderr.write(f"\rpast checks: {done} of {of}{end}")
        sys.stderr.flush()

    return show
