"""What the server itself is set to, before it listens: where, how many, and how it stops."""

import os
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Self

from weighworthy_service.web.variables import SettingsError

_ADDRESS: Final = re.compile(r"(?:[A-Za-z0-9.-]+|\[[0-9A-Fa-f:.%]+\]):([0-9]{1,5})")

_SOCKET: Final = "unix:"
# Read by gunicorn after the settings of `server`.
_GUNICORN: Final = "GUNICORN_CMD_ARGS"


@dataclass(frozen=True, slots=True)
class ServerSettings:
    """`bind`: `host:port` or `unix:/path`; `workers`: processes; `threads`: of each process;
    `stop`: how long requests under way may take to end when the server is told to stop, and
    `answer`: how long an answer may take to go, both in s."""

    bind: str = "127.0.0.1:8000"
    workers: int = 2
    threads: int = 4
    stop: int = 120
    answer: int = 60

    @classmethod
    def from_environment(cls, environment: Mapping[str, str]) -> Self:
        """Read WEIGHWORTHY_BIND, WEIGHWORTHY_WORKERS, WEIGHWORTHY_THREADS,
        WEIGHWORTHY_STOP_SECONDS and WEIGHWORTHY_ANSWER_SECONDS.

        Raises:
            SettingsError: one cannot be understood.
        """
        usual = cls()
        return cls(
            _bind(environment.get("WEIGHWORTHY_BIND") or usual.bind),
            count(environment, "WEIGHWORTHY_WORKERS", usual.workers),
            count(environment, "WEIGHWORTHY_THREADS", usual.threads),
            count(environment, "WEIGHWORTHY_STOP_SECONDS", usual.stop),
            count(environment, "WEIGHWORTHY_ANSWER_SECONDS", usual.answer),
        )


def count(environment: Mapping[str, str], name: str, usual: int) -> int:
    """A whole number from 1 to 9999.

    Raises:
        SettingsError: it is none.
    """
    text = environment.get(name) or str(usual)
    if not re.fullmatch("[1-9][0-9]{0,3}", text):
        raise SettingsError(f"{name} is {text!r}; it takes a whole number from 1 to 9999")
    return int(text)


def refuse_what_cannot_be(environment: Mapping[str, str], bind: str) -> None:
    """What gunicorn would only find out after long trying, or take over the settings made here.

    Raises:
        SettingsError: saying what to change.
    """
    if environment.get(_GUNICORN, "").strip():
        raise SettingsError(
            f"{_GUNICORN} is set: it would go before what is set here, also before what guards the "
            "service; use the variables of the README, or options of gunicorn's command line"
        )
    if not bind.startswith(_SOCKET):
        return
    path = Path(bind.removeprefix(_SOCKET))
    if not path.parent.is_dir():
        raise SettingsError(f"WEIGHWORTHY_BIND is {bind!r}: there is no folder {path.parent}")
    if path.exists() and not path.is_socket():
        raise SettingsError(f"WEIGHWORTHY_BIND is {bind!r}: {path} is there and is no socket")
    if not os.access(path.parent, os.W_OK | os.X_OK):
        raise SettingsError(f"WEIGHWORTHY_BIND is {bind!r}: nothing can be made in {path.parent}")


def _bind(text: str) -> str:
    if text.startswith("unix:/"):
        return text
    found = _ADDRESS.fullmatch(text)
    if found is None or not 0 < int(found[1]) < 65536:
        raise SettingsError(
            f"WEIGHWORTHY_BIND is {text!r}; it takes an address and a port, such as "
            "127.0.0.1:8000 or [::1]:8000, or unix:/path"
        )
    return text
