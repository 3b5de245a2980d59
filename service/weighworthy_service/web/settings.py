"""Settings of the process, from its environment."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final, Literal, Self, get_args

from weighworthy_service.web.batch_limits import BatchLimits
from weighworthy_service.web.patience import USUAL, request_seconds
from weighworthy_service.wire.coded import nearest

Anonymous = Literal["no", "loopback", "yes"]

# Of each process, where WEIGHWORTHY_THREADS does not say otherwise.
THREADS: Final = 4
_PREFIX: Final = "WEIGHWORTHY_"
_VARIABLES: Final = (
    *("ANONYMOUS", "KEYS_FILE", "PROFILES", "MAPPINGS", "BIND", "WORKERS", "THREADS", "HEAVY"),
    *("REQUEST_SECONDS", "UPLOAD_SECONDS", "DOWNLOAD_SECONDS", "SPOOL"),
    *("BATCH_BYTES", "BATCH_ROWS", "BATCH_COLUMNS", "BATCH_CPU_SECONDS"),
    # Of the client, which may run beside.
    *("URL", "API_KEY"),
)
_KEY_LINE: Final = re.compile("sha256:([0-9a-f]{64})")


class SettingsError(ValueError):
    """The process must not start like this; the message says what to set."""


@dataclass(frozen=True, slots=True)
class Settings:
    """Who may ask, by what is judged, and how much. `keys` are SHA-256 digests of API keys.

    `anonymous`: requests without a key are taken from nobody, from this machine, or from everybody.
    `profiles`: a folder of profiles beside those that come with the service. `mappings`: a folder
    of mapping documents. `batch`: how large and how slow tables may be, and where they wait.
    `heavy`: how many reviews, comparisons and the like are at work at once in one process; None:
    any number. `seconds`: how long a body may take to come that is no table.
    """

    anonymous: Anonymous = "no"
    keys: frozenset[bytes] = frozenset()
    profiles: Path | None = None
    mappings: Path | None = None
    batch: BatchLimits = field(default_factory=BatchLimits)
    heavy: int | None = None
    seconds: int = USUAL

    @classmethod
    def from_environment(cls, environment: Mapping[str, str]) -> Self:
        """Read WEIGHWORTHY_ANONYMOUS, WEIGHWORTHY_KEYS_FILE, WEIGHWORTHY_PROFILES,
        WEIGHWORTHY_MAPPINGS, WEIGHWORTHY_THREADS, WEIGHWORTHY_HEAVY,
        WEIGHWORTHY_REQUEST_SECONDS, and what `BatchLimits` reads.

        Raises:
            SettingsError: neither of the first two is set, or one cannot be understood: a service
                that judges for everybody must be somebody's decision, not a forgotten setting. A
                folder is not there.
        """
        _refuse_unknown(environment)
        anonymous = _anonymous(environment.get("WEIGHWORTHY_ANONYMOUS") or "no")
        file = environment.get("WEIGHWORTHY_KEYS_FILE")
        if not file and anonymous == "no":
            raise SettingsError(
                "set WEIGHWORTHY_KEYS_FILE to a file of API keys, one sha256:<hex> a line, or "
                "WEIGHWORTHY_ANONYMOUS=loopback to serve this machine only without keys"
            )
        profiles = _folder(environment, "WEIGHWORTHY_PROFILES")
        mappings = _folder(environment, "WEIGHWORTHY_MAPPINGS")
        try:
            batch = BatchLimits.from_environment(environment)
            seconds = request_seconds(environment)
        except ValueError as error:
            raise SettingsError(str(error)) from None
        return cls(
            anonymous,
            read_keys(Path(file)) if file else frozenset(),
            profiles,
            mappings,
            batch,
            _heavy(environment),
            seconds,
        )


def _refuse_unknown(environment: Mapping[str, str]) -> None:
    """A limit that is set under a name nobody reads would be thought to hold."""
    for name in sorted(environment):
        if name.startswith(_PREFIX) and name.removeprefix(_PREFIX) not in _VARIABLES:
            hint = nearest(name, tuple(_PREFIX + known for known in _VARIABLES))
            raise SettingsError(f"{name} is set, and nothing reads it{hint}")


def _anonymous(text: str) -> Anonymous:
    for choice in get_args(Anonymous):
        if text == choice:
            taken: Anonymous = choice
            return taken
    raise SettingsError(f"WEIGHWORTHY_ANONYMOUS is {text!r}; it takes loopback, yes or no")


def _folder(environment: Mapping[str, str], name: str) -> Path | None:
    text = environment.get(name)
    if not text:
        return None
    if not Path(text).is_dir():
        raise SettingsError(f"{name} is {text!r}, where no folder is that this process can see")
    return Path(text)


def _heavy(environment: Mapping[str, str]) -> int:
    """By default two threads of a process are left for what is not heavy."""
    threads = _count(environment, "WEIGHWORTHY_THREADS", THREADS)
    heavy = _count(environment, "WEIGHWORTHY_HEAVY", max(1, threads - 2))
    if heavy > max(1, threads - 1):
        raise SettingsError(
            f"WEIGHWORTHY_HEAVY is {heavy} and WEIGHWORTHY_THREADS {threads}: at least one thread "
            "must be left for checks and probes"
        )
    return heavy


def _count(environment: Mapping[str, str], name: str, default: int) -> int:
    text = environment.get(name) or str(default)
    if not re.fullmatch("[1-9][0-9]{0,3}", text):
        raise SettingsError(f"{name} is {text!r}; it takes a whole number from 1")
    return int(text)


def read_keys(path: Path) -> frozenset[bytes]:
    """The digests of a key file: `sha256:<hex>` a line, `#` begins a comment.

    Raises:
        SettingsError: the file cannot be read, has no key, or has a line of another form.
    """
    try:
        lines = path.read_text("utf-8").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise SettingsError(f"the key file {path} cannot be read: {error}") from error
    keys = set()
    for position, line in enumerate(lines, start=1):
        text = line.partition("#")[0].strip()
        if not text:
            continue
        found = _KEY_LINE.fullmatch(text)
        if found is None:
            # The line itself stays out of the message: it may be a key somebody forgot to hash.
            raise SettingsError(f"line {position} of the key file {path} is not sha256:<64 hex>")
        keys.add(bytes.fromhex(found[1]))
    if not keys:
        raise SettingsError(f"the key file {path} holds no key")
    return frozenset(keys)
