"""What the service says of profiles, as frozen values. Field names are those of the JSON document.

Numbers are `decimal.Decimal`. ``data`` is the whole document, read-only; ``raw`` its bytes, by
which two of a kind are compared and from which they are pickled.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any, TypeVar

from weighworthy.errors import ProtocolError
from weighworthy.profile_files import ProfileFile
from weighworthy.results import ProfileRef, frozen, read_json

T = TypeVar("T")
Data = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Place:
    """Where something stands: JSON pointer in ``document`` (``id@revision``).

    ``line`` is known where the profile was sent as TOML, ``file`` where it came from a file; it is
    the line in that file.
    """

    pointer: str
    line: int | None
    document: str | None
    file: str | None = None


_NOWHERE = Place("", None, None)


@dataclass(frozen=True, slots=True)
class Remark:
    """Something about a profile; ``severity`` is ``error``, ``warning`` or ``note``."""

    code: str
    severity: str
    place: Place
    message: str


@dataclass(frozen=True, slots=True)
class Review:
    """Whether a profile can be used, what is remarkable, and what its limits do, in numbers.

    ``errors`` keep it from meaning anything (as remarks of severity ``error``); ``remarks`` of
    that severity are limits that can never be kept. ``judgement`` has a row for each limit and
    instrument.
    """

    profile: ProfileRef | None
    well_formed: bool
    errors: tuple[Remark, ...]
    remarks: tuple[Remark, ...]
    judgement: tuple[Data, ...] = field(repr=False, compare=False)
    data: Data = field(repr=False, compare=False)
    raw: bytes = field(repr=False)
    source: ProfileFile | None = field(repr=False, compare=False)

    def __reduce__(self) -> tuple[Any, ...]:
        return read_review, (self.raw, None, self.source)

    @property
    def usable(self) -> bool:
        """Whether nothing of severity ``error`` was found."""
        found = (*self.errors, *self.remarks)
        return self.well_formed and not any(r.severity == "error" for r in found)


@dataclass(frozen=True, slots=True)
class Setting:
    """A setting in force, where it was made, and the rules that lost: pairs of value and place."""

    name: str
    value: Any
    lower_limit: Decimal | None
    upper_limit: Decimal | None
    place: Place | None
    lost: tuple[tuple[Any, Place | None], ...]


@dataclass(frozen=True, slots=True)
class Resolution:
    """The settings that a profile gives to one check of one instrument."""

    profile: ProfileRef | None
    settings: tuple[Setting, ...] = field(compare=False)
    data: Data = field(repr=False, compare=False)
    raw: bytes = field(repr=False)
    source: ProfileFile | None = field(repr=False, compare=False)

    def __reduce__(self) -> tuple[Any, ...]:
        return read_resolution, (self.raw, None, self.source)

    def setting(self, name: str) -> Setting:
        """The setting of this name, such as ``limits.loss_error``; ``KeyError`` lists them."""
        for setting in self.settings:
            if setting.name == name:
                return setting
        raise KeyError(
            f"no setting {name!r}; there are: {', '.join(s.name for s in self.settings)}"
        )


@dataclass(frozen=True, slots=True)
class Comparison:
    """What differs between two profiles or sets of weights, in meaning.

    ``settings`` has a row for each setting of each instrument and check; ``verdicts`` counts and
    names the past checks that come out differently, ``None`` where none were given.
    """

    settings: tuple[Data, ...] = field(repr=False, compare=False)
    verdicts: Data | None = field(compare=False)
    data: Data = field(repr=False, compare=False)
    raw: bytes = field(repr=False)

    def __reduce__(self) -> tuple[Any, ...]:
        return read_comparison, (self.raw, None)

    @property
    def changes(self) -> tuple[Data, ...]:
        """The rows of ``settings`` that are not equal on both sides."""
        return tuple(row for row in self.settings if row.get("change") != "equal")


@dataclass(frozen=True, slots=True)
class Card:
    """A bench card: ``text`` as the service wrote it, ``data`` where that is JSON."""

    media_type: str
    text: str = field(repr=False)
    data: Data | None = field(repr=False, compare=False)

    @property
    def obstacles(self) -> tuple[str, ...]:
        """What keeps the check from passing, whatever is displayed; known of a card as JSON."""
        data = self.data or {}
        if data.get("can_pass") is not False:
            return ()
        return tuple(data["obstacles"]) or ("no displays pass",)

    def __reduce__(self) -> tuple[Any, ...]:
        return read_card, (self.text.encode(), self.media_type, None)


def read_review(raw: bytes, request_id: str | None, source: ProfileFile | None) -> Review:
    """Read the answer of a review, of a file if ``source`` is one; raises `ProtocolError`."""

    def read(data: Data) -> Review:
        return Review(
            profile=_profile(data["profile"]),
            well_formed=data["well_formed"] is True,
            errors=tuple(_error(row, source) for row in data["errors"]),
            remarks=tuple(_remark(row, source) for row in data["remarks"]),
            judgement=tuple(data["judgement"]),
            data=data,
            raw=raw,
            source=source,
        )

    return _read(raw, request_id, read)


def read_resolution(raw: bytes, request_id: str | None, source: ProfileFile | None) -> Resolution:
    """Read the answer of a resolution, of a file if ``source`` is one; raises `ProtocolError`."""

    def read(data: Data) -> Resolution:
        return Resolution(
            profile=_profile(data["profile"]),
            settings=tuple(_settings(data["settings"], source)),
            data=data,
            raw=raw,
            source=source,
        )

    return _read(raw, request_id, read)


def read_comparison(raw: bytes, request_id: str | None) -> Comparison:
    """Read the answer of a comparison; raises `ProtocolError`."""

    def read(data: Data) -> Comparison:
        return Comparison(tuple(data["settings"]), data["verdicts"], data, raw)

    return _read(raw, request_id, read)


def read_card(raw: bytes, media_type: str, request_id: str | None) -> Card:
    """Read a bench card; raises `ProtocolError`."""
    if media_type == "application/json":
        return _read(raw, request_id, lambda data: Card(media_type, raw.decode(), data))
    try:
        return Card(media_type, raw.decode(), None)
    except UnicodeDecodeError:
        raise ProtocolError("the card is not UTF-8", request_id=request_id) from None


def _read(raw: bytes, request_id: str | None, read: Callable[[Data], T]) -> T:
    try:
        return read(frozen(read_json(raw)))
    except KeyError as error:
        fault = f"{error.args[0]} is missing"
    except (ValueError, TypeError, AttributeError) as error:
        fault = str(error)
    raise ProtocolError(f"this is not what was asked for: {fault}", request_id=request_id)


def _settings(rows: Iterable[Data], source: ProfileFile | None) -> Iterable[Setting]:
    for row in rows:
        yield Setting(
            name=row["name"],
            value=row["value"],
            lower_limit=row["lower_limit"],
            upper_limit=row["upper_limit"],
            place=_place(row["place"], source),
            lost=tuple((lost["value"], _place(lost["place"], source)) for lost in row["lost"]),
        )


def _error(row: Data, source: ProfileFile | None) -> Remark:
    place = _place({**row, "document": None}, source) or _NOWHERE
    return Remark(row["code"], "error", place, row["detail"])


def _remark(row: Data, source: ProfileFile | None) -> Remark:
    place = _place(row, source) or _NOWHERE
    return Remark(row["code"], row["severity"], place, row["message"])


def _place(row: Data | None, source: ProfileFile | None) -> Place | None:
    if row is None:
        return None
    line = None if row["line"] is None else int(row["line"])
    document, file = row["document"], None
    if source is not None:
        file, line = source.locate(line, document)
    return Place(row["pointer"], line, document, file)


def _profile(row: Data | None) -> ProfileRef | None:
    return None if row is None else ProfileRef(row["id"], row["revision"], row["digest"])
