"""``weighworthy serve`` and ``weighworthy new-key``: a service for others, and who may ask it."""

import argparse
import hashlib
import importlib.util
import ipaddress
import os
import secrets
import sys

from weighworthy.cli_common import OK, UsageError

_SETTINGS = "python:weighworthy_service.web.server"
_USUAL_BIND = "127.0.0.1:8000"
_SCOPES = ("evaluate", "read", "metrics")
# So that a key that got into a text can be found there.
_BEGIN = "weighworthy-key-"
_PREFIX = "WEIGHWORTHY_"
# Option, variable without prefix, metavar, help.
_OPTIONS = (
    ("--bind", "BIND", "ADDRESS", f"address and port, or unix:/path; otherwise {_USUAL_BIND}"),
    ("--keys-file", "KEYS_FILE", "FILE", "file or folder of keys; `weighworthy new-key` makes one"),
    ("--profiles", "PROFILES", "FOLDER", "folder of profiles, besides those that come along"),
    ("--mappings", "MAPPINGS", "FOLDER", "folder of mappings"),
    ("--workers", "WORKERS", "N", "processes; otherwise 2"),
    ("--threads", "THREADS", "N", "threads of each process; otherwise 4"),
)


def add_to(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register both commands."""
    serve = commands.add_parser(
        "serve",
        help="run the service for others",
        description="Run the service with gunicorn until it is told to stop. Each option is an "
        "environment variable too, such as WEIGHWORTHY_BIND; the README lists all.\nWithout keys "
        "it serves this computer alone, and only on an address of this computer.",
    )
    for option, variable, metavar, said in _OPTIONS:
        serve.add_argument(option, dest=variable, metavar=metavar, help=said)
    serve.set_defaults(run=_serve)
    new_key = commands.add_parser(
        "new-key",
        help="make a key for the service",
        description="Make a random key. The key goes to standard error, once and nowhere else; "
        "its line for the file of keys to standard output:\n"
        "weighworthy new-key --name LIMS >> keys",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    new_key.add_argument(
        "--scope",
        action="append",
        choices=_SCOPES,
        help="what it is for, can be repeated; otherwise evaluate and read",
    )
    new_key.add_argument("--name", metavar="TEXT", help="whose it is, as a comment in the line")
    new_key.set_defaults(run=_new_key)


def _serve(arguments: argparse.Namespace) -> int:
    stated = {
        _PREFIX + variable: getattr(arguments, variable)
        for _, variable, _, _ in _OPTIONS
        if getattr(arguments, variable) is not None
    }
    environment = {**os.environ, **stated}
    if not (environment.get("WEIGHWORTHY_KEYS_FILE") or environment.get("WEIGHWORTHY_ANONYMOUS")):
        bind = environment.get("WEIGHWORTHY_BIND") or _USUAL_BIND
        if not _only_here(bind):
            raise UsageError(
                f"{bind} can be reached by others: give --keys-file "
                "(`weighworthy new-key --name LIMS >> keys` makes one)"
            )
        environment["WEIGHWORTHY_ANONYMOUS"] = "loopback"
        sys.stderr.write("weighworthy: without keys, for this computer alone\n")
        sys.stderr.flush()
    if os.name != "posix":
        raise UsageError("gunicorn does not run on this system; the embedded client does")
    for module in ("weighworthy_service", "gunicorn"):
        if importlib.util.find_spec(module) is None:
            raise ImportError(
                f"the service needs {module}: pip install 'weighworthy[service]'", name=module
            )
    # In place of this process, so that whoever started it signals the server itself.
    command = [sys.executable, "-m", "gunicorn", "-c", _SETTINGS]
    os.execve(sys.executable, command, environment)  # noqa: S606  no shell, nothing from outside


def _only_here(bind: str) -> bool:
    host = bind.rpartition(":")[0].strip("[]")
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def _new_key(arguments: argparse.Namespace) -> int:
    name = arguments.name or ""
    if not name.isprintable():
        raise UsageError("--name: one line of text")
    key = _BEGIN + secrets.token_urlsafe(32)
    digest = hashlib.sha256(key.encode()).hexdigest()
    scopes = [scope for scope in _SCOPES if scope in (arguments.scope or _SCOPES[:2])]
    line = " ".join([f"sha256:{digest}", *scopes, *([f"# {name}"] if name else [])])
    sys.stdout.write(line + "\n")
    sys.stdout.flush()
    sys.stderr.write(f"{key}\n")
    sys.stderr.flush()
    if getattr(sys.stderr, "lost", False):
        raise UsageError("nobody could read the key, which is told once, on standard error")
    return OK
