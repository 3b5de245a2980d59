"""Settings of the process, from its environment."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal, Self, get_args

from weighworthy_service.evidence.records.keys import NO_KEYS, SealKeys
from weighworthy_service.web.batch_limits import BatchLimits
from weighworthy_service.web.keys import Key, read_keys
from weighworthy_service.web.patience import USUAL, request_seconds
from weighworthy_service.web.server_settings import ServerSettings, count
from weighworthy_service.web.variables import SettingsError, refuse_unknown

Anonymous = Literal["no", "loopback", "yes"]


@dataclass(frozen=True, slots=True)
class Settings:
    """Who may ask, by what is judged, and how much. `keys` are digests of API keys, with scopes.

    `anonymous`: requests without a key are taken from nobody, from this machine, or from everybody.
    `profiles`: a folder of profiles beside those that come with the service. `mappings`: a folder
    of mapping documents. `batch`: how large and how slow tables may be, and where they wait.
    `heavy`: how many reviews, comparisons and the like are at work at once in one process; None:
    any number. `seconds`: how long a body may take to come that is no table. `seals`: what records
    are sealed with, and what seals are held against.
    """

    anonymous: Anonymous = "no"
    keys: frozenset[Key] = frozenset()
    profiles: Path | None = None
    mappings: Path | None = None
    batch: BatchLimits = field(default_factory=BatchLimits)
    heavy: int | None = None
    seconds: int = USUAL
    seals: SealKeys = NO_KEYS

    @classmethod
    def from_environment(cls, environment: Mapping[str, str]) -> Self:
        """Read WEIGHWORTHY_ANONYMOUS, WEIGHWORTHY_KEYS_FILE, WEIGHWORTHY_PROFILES,
        WEIGHWORTHY_MAPPINGS, WEIGHWORTHY_THREADS, WEIGHWORTHY_HEAVY,
        WEIGHWORTHY_REQUEST_SECONDS, WEIGHWORTHY_SEALING_KEY, WEIGHWORTHY_SEAL_KEYS, and what
        `BatchLimits` reads.

        Raises:
            SettingsError: neither of the first two is set, or one cannot be understood: a service
                that judges for everybody must be somebody's decision, not a forgotten setting. A
                folder is not there.
        """
        refuse_unknown(environment)
        anonymous = _anonymous(environment.get("WEIGHWORTHY_ANONYMOUS") or "no")
        file = environment.get("WEIGHWORTHY_KEYS_FILE")
        if not file and anonymous == "no":
            raise SettingsError(
                "set WEIGHWORTHY_KEYS_FILE to a file of API keys, one sha256:<hex> a line "
                "(`weighworthy new-key` makes one), or to a folder of such files, or "
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
            _keys(file),
            profiles,
            mappings,
            batch,
            _heavy(environment),
            seconds,
            _seals(environment),
        )


def _anonymous(text: str) -> Anonymous:
    for choice in get_args(Anonymous):
        if text == choice:
            taken: Anonymous = choice
            return taken
    raise SettingsError(f"WEIGHWORTHY_ANONYMOUS is {text!r}; it takes loopback, yes or no")


def _keys(file: str | None) -> frozenset[Key]:
    try:
        return read_keys(Path(file)) if file else frozenset()
    except SettingsError as error:
        raise SettingsError(f"WEIGHWORTHY_KEYS_FILE: {error}") from None


def _folder(environment: Mapping[str, str], name: str) -> Path | None:
    text = environment.get(name)
    if not text:
        return None
    if not Path(text).is_dir():
        raise SettingsError(f"{name} is {text!r}, where no folder is that this process can see")
    return Path(text)


def _seals(environment: Mapping[str, str]) -> SealKeys:
    names = ("WEIGHWORTHY_SEALING_KEY", "WEIGHWORTHY_SEAL_KEYS")
    sealing, public = (Path(text) if (text := environment.get(name)) else None for name in names)
    try:
        return seal_keys(sealing, public)
    except SettingsError as error:
        set_ = [name for name in names if environment.get(name)]
        raise SettingsError(f"{' or '.join(set_)}: {error}") from None


def seal_keys(sealing: Path | None, public: Path | None) -> SealKeys:
    """The keys of these files.

    Raises:
        SettingsError: as `read_seal_keys` has it.
    """
    if sealing is None and public is None:
        return NO_KEYS
    # What signs takes long to load, and most services have no keys.
    from weighworthy_service.evidence.records import signing  # noqa: PLC0415

    try:
        return signing.read_seal_keys(sealing, public)
    except signing.KeyFileError as error:
        raise SettingsError(str(error)) from None


def _heavy(environment: Mapping[str, str]) -> int:
    """By default two threads of a process are left for what is not heavy."""
    threads = ServerSettings.from_environment(environment).threads
    heavy = count(environment, "WEIGHWORTHY_HEAVY", max(1, threads - 2))
    if heavy > max(1, threads - 1):
        raise SettingsError(
            f"WEIGHWORTHY_HEAVY is {heavy} and WEIGHWORTHY_THREADS {threads}: at least one thread "
            "must be left for checks and probes"
        )
    return heavy
