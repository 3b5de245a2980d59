"""The command ``weighworthy``: what the client can do, for shells and pipelines.

Data go to standard output, everything else to standard error, both as UTF-8. Exit codes: 0 all
well; 1 a finding of the work, such as a verdict that lets nothing be used or an error of a profile;
2 wrong usage; 3 some rows were not judged; 4 the service was not reached or refused, or there is no
room for what is written; 5 a fault of the program; 130 interrupted.
"""

import argparse
import os
import sys
import traceback
from collections.abc import Sequence
from importlib import import_module

from weighworthy._version import __version__
from weighworthy.cli_common import (
    FOUND,
    INTERNAL,
    INTERRUPTED,
    NO_SERVICE,
    OK,
    USAGE,
    UsageError,
    is_about_a_profile,
    spare_inputs,
)
from weighworthy.cli_stderr import forgiving_stderr
from weighworthy.errors import (
    FULL,
    MappingNotUsable,
    ProfileFileError,
    ProfileNotUsable,
    TableNotUsable,
    WeighworthyError,
)

# The module of each command. Only that of the command that is asked for is loaded, for loading all
# takes longer than many a command does.
_COMMANDS = {
    "check": "cli_check",
    "sitting": "cli_sitting",
    "evaluate": "cli_evaluate",
    "mapping": "cli_mapping",
    "profiles": "cli_profiles",
    "plan": "cli_plan",
    "logbook": "cli_logbook",
    "records": "cli_records",
    "report": "cli_report",
    "weights": "cli_weights",
    "serve": "cli_serve",
    "new-key": "cli_serve",
}

_EXIT_CODES = """exit codes: 0 all well; 1 a finding (verdict not usable, error of a profile);
2 wrong usage; 3 some rows not judged; 4 service not reached or refused, or no room to write;
5 fault of the program; 130 interrupted"""

_CODES: tuple[tuple[tuple[type[Exception], ...], int], ...] = (
    ((UsageError,), USAGE),
    ((ProfileFileError, ProfileNotUsable), FOUND),
    ((TableNotUsable, MappingNotUsable), USAGE),
    ((WeighworthyError, ImportError), NO_SERVICE),
)


@forgiving_stderr()
def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and give its exit code. Raises ``SystemExit`` for wrong arguments only."""
    for stream in (sys.stdout, sys.stderr):
        # A redirected Windows console would otherwise refuse the shapes of the verdicts.
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(encoding="utf-8")
    words = sys.argv[1:] if argv is None else list(argv)
    arguments = _parser(words[0] if words else None).parse_args(words)
    try:
        spare_inputs(arguments)
        code: int = arguments.run(arguments)
        sys.stdout.flush()
    except BrokenPipeError:
        # The reader (`| head`) has gone; what Python still holds must not be written either.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return OK
    except KeyboardInterrupt:
        return _failed(INTERRUPTED, "interrupted")
    except Exception as error:
        return _fault(error)
    return code


def _fault(error: Exception) -> int:
    if is_about_a_profile(error):
        return _failed(FOUND, f"{error}\n  `weighworthy profiles review` names file and line")
    if isinstance(error, ProfileNotUsable) and _needs_a_day(error):
        return _failed(FOUND, f"{error}\n  `--on YYYY-MM-DD` states the date")
    if isinstance(error, OSError) and error.errno in FULL:
        return _full(error)
    code = next((code for kinds, code in _CODES if isinstance(error, kinds)), INTERNAL)
    if code == INTERNAL:
        traceback.print_exception(error)
        return _failed(code, "this is a fault of the program; please report it")
    return _failed(code, str(error))


def _full(error: OSError) -> int:
    if error.filename is None:
        # What Python still holds for it must not be written again when it ends.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return _failed(NO_SERVICE, f"{error.filename or 'standard output'}: {error.strerror}")


def _needs_a_day(error: ProfileNotUsable) -> bool:
    return any(fault.code == "revision-open" for fault in error.errors)


def _failed(code: int, message: str) -> int:
    print(f"weighworthy: {message}", file=sys.stderr)  # noqa: T201 - the command speaks here
    return code


def _parser(asked: str | None) -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="weighworthy",
        description="Evaluate routine checks of the balances inside loss-on-drying moisture\n"
        "analysers, and the tolerance profiles they are judged by.",
        epilog=_EXIT_CODES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="version", version=f"weighworthy {__version__}")
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    modules = [_COMMANDS[asked]] if asked in _COMMANDS else dict.fromkeys(_COMMANDS.values())
    for name in modules:
        import_module(f"weighworthy.{name}").add_to(commands)
    return parser


if __name__ == "__main__":
    sys.exit(main())
