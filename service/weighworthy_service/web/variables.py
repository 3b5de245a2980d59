"""The environment variables that a server reads, in one table, from which the README has its own.

`python -m weighworthy_service.web.variables` prints that of the README.
"""

import sys
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from weighworthy_service.wire.coded import nearest

PREFIX: Final = "WEIGHWORTHY_"


class SettingsError(ValueError):
    """The process must not start like this; the message says what to set."""


@dataclass(frozen=True, slots=True)
class Variable:
    """A variable: its name without the prefix, the value that it has where it is not set, and what
    it means, as Markdown. `of_client`: the client reads it, which may run beside the server."""

    name: str
    usual: str
    meaning: str
    of_client: bool = False


VARIABLES: Final = (
    Variable(
        "KEYS_FILE",
        "",
        "file of keys, `sha256:<hex> [scopes] [# name]` a line, or a folder of such files, as "
        "secrets are mounted; requests carry `Authorization: Bearer <key>`",
    ),
    Variable(
        "ANONYMOUS",
        "no",
        "`loopback`: requests without a key are taken from this computer only and not through a "
        "proxy, as far as it gives any sign of itself (what passes on connections, such as a "
        "tunnel, gives none: have keys there), nor from pages of other sites in a browser here, "
        "which get 403 `cross-site`; `yes`: from anybody, for everything; `no`: from "
        "nobody",
    ),
    Variable(
        "PROFILES",
        "",
        "folder of `*.toml` and `*.json` profiles, read whole at start and on `kill -HUP` of the "
        "first process; broken, empty or not there at start: it does not start; at reload: nothing "
        "changes, and `/readyz` says why",
    ),
    Variable(
        "MAPPINGS",
        "",
        "folder of mappings, which `?mapping=<id>` names; read like that of profiles",
    ),
    Variable("BIND", "127.0.0.1:8000", "address and port, `[::1]:8000`, or `unix:/path`"),
    Variable("WORKERS", "2", "processes"),
    Variable("THREADS", "4", "threads of each process"),
    Variable(
        "STOP_SECONDS",
        "120",
        "how long requests that were under way at `SIGTERM` may take to end; what then has not "
        "ended breaks off, which the client notices",
    ),
    Variable(
        "HEAVY",
        "threads less 2",
        "reviews, comparisons, bench cards, explanations and bodies above 64 KiB at work at once "
        "in each process; more get 503 with `Retry-After`, which the client obeys, so that checks "
        "and probes always find a thread",
    ),
    Variable(
        "REQUEST_SECONDS",
        "15",
        "how long a request that is no table may take to come; heads and bodies up to 64 KiB are "
        "gathered without a thread, so that who is slow to send holds none",
    ),
    Variable(
        "ANSWER_SECONDS",
        "60",
        "how long an answer may take to go; of one that is made while it is sent, how long the "
        "client may take nothing. Who is slow to read holds no thread, but for tables",
    ),
    Variable("BATCH_BYTES", "1073741824", "largest table in bytes, unpacked"),
    Variable("BATCH_ROWS", "2000000", "most rows of a table"),
    Variable("BATCH_COLUMNS", "500", "most columns of a table"),
    Variable(
        "BATCH_CPU_SECONDS",
        "1800",
        "processor time that judging one table may take; then the answer breaks off and says so",
    ),
    Variable("UPLOAD_SECONDS", "900", "how long a table may take to come"),
    Variable("DOWNLOAD_SECONDS", "3600", "how long the answer to a table may take to go"),
    Variable(
        "SPOOL",
        "",
        "folder for tables while they are judged; otherwise the system's for temporary files",
    ),
    Variable(
        "SEALING_KEY",
        "",
        "file with the private Ed25519 key that signs records, a JWK or PEM (`weighworthy records "
        "new-key` makes one); without it records get a digest and no signature",
    ),
    Variable(
        "SEAL_KEYS",
        "",
        "file or folder of further public keys that seals are verified with, such as earlier ones "
        "and those of other sites: JWKs, sets of them, or PEM",
    ),
    Variable("URL", "", "for the client: the address of the service", of_client=True),
    Variable("API_KEY", "", "for the client: the key itself", of_client=True),
)
_NAMES: Final = tuple(PREFIX + variable.name for variable in VARIABLES)


def refuse_unknown(environment: Mapping[str, str]) -> None:
    """A limit that is set under a name nobody reads would be thought to hold.

    Raises:
        SettingsError: naming it, and the nearest of the names that are read.
    """
    for name in sorted(environment):
        if name.startswith(PREFIX) and name not in _NAMES:
            hint = nearest(name, _NAMES)
            raise SettingsError(f"{name} is set, and nothing reads it{hint}")


def as_markdown() -> str:
    """The table of the README."""
    lines = ["| environment variable | usual | meaning |", "|---|---|---|"]
    for variable in VARIABLES:
        usual = f"`{variable.usual}`" if variable.usual else "not set"
        lines.append(f"| `{PREFIX}{variable.name}` | {usual} | {variable.meaning} |")
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    sys.stdout.write(as_markdown())
