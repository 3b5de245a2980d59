"""A request falls apart: into what many have in common, and what they differ in."""

from collections.abc import Hashable, Mapping
from decimal import Decimal
from functools import lru_cache
from typing import Any, Final, NamedTuple

from marshmallow import ValidationError

from weighworthy_service.checks.kind import Kind
from weighworthy_service.checks.prepared import Path, Reduction
from weighworthy_service.metrology.quantity import QuantityError, read_quantity
from weighworthy_service.tables.digests import DigestTemplate, marks_for
from weighworthy_service.tables.request_fields import find_field
from weighworthy_service.tables.settling import Odd, day_of
from weighworthy_service.wire.fields import Instant
from weighworthy_service.wire.request import MAX_LABEL_LENGTH, MAX_LABELS

_LONGEST_READING, _LONGEST_NAME = 40, 200
_MAX_NAME: Final = 64
_INSTANT: Final = Instant()
# What reductions make of texts is kept: temperatures of a chamber come again and again.
_KEPT: Final = 4096

# Quantities as they are written: of what was displayed, the digits count, too.
Texts = tuple[str | None, ...]


class Parts(NamedTuple):
    """What requests differ in, as it is written. Of the time only the day decides.

    `reduced`: the texts of all reductions; `decided`: what is decided by them.
    """

    readings: Texts
    reduced: Texts
    decided: tuple[Hashable, ...]
    performed_at: str | None
    performed_by: str | None

    @property
    def day(self) -> str | None:
        """The local day of the check."""
        return day_of(self.performed_at)

    @property
    def texts(self) -> Texts:
        """All texts that differ."""
        return (*self.readings, *self.reduced, self.performed_at, self.performed_by)

    @property
    def present(self) -> tuple[bool, ...]:
        """Which of them are stated."""
        return tuple([text is not None for text in self.texts])


class Parting:
    """How requests of one kind fall apart.

    Raises:
        Odd: checks of this kind cannot be prepared.
    """

    def __init__(self, kind: Kind) -> None:
        preparation = kind.preparation
        if preparation is None:
            raise Odd
        self._kind = kind
        self._readings, self._reductions = preparation.readings, preparation.reductions
        self._reduced = tuple(path for one in self._reductions for path in one.paths)
        self._forms = {
            path: find_field(kind, ".".join(map(str, path))).form
            for path in (*self._readings, *self._reduced)
        }
        # Where the texts of `Parts.texts` stand in a request, in their order.
        self.paths: Final = (*self._readings, *self._reduced, ("performed_at",), ("performed_by",))
        # Parts of a request of which something is taken.
        self._opened = {path[0] for path in self._forms if len(path) > 1}
        self._decided = lru_cache(maxsize=_KEPT)(self._decides)

    def part(self, document: dict[str, Any]) -> tuple[dict[str, Any], Parts]:
        """What requests have in common, and what they differ in. Labels and person decide nothing.

        Raises:
            Odd: a part is not as usual.
        """
        common = dict(document)
        _check_labels(common.pop("labels", None))
        performed_by = common.pop("performed_by", None)
        performed_at = common.pop("performed_at", None)
        _check_text(performed_by, _LONGEST_NAME)
        _check_time(performed_at)
        for name in self._opened:
            part = common.get(name)
            if not isinstance(part, dict):
                raise Odd
            common[name] = dict(part)
        readings = tuple([_taken(common, path) for path in self._readings])
        reduced = tuple([_taken(common, path) for path in self._reduced])
        decided = self._decided(reduced) if any(reduced) else ()
        return common, Parts(readings, reduced, decided, performed_at, performed_by)

    def parts(self, texts: Texts, labels: Mapping[str, str]) -> Parts:
        """What is in `Parts.texts`, found otherwise, and as usual as `part` would have it.

        Raises:
            Odd: something is not.
        """
        *quantities, performed_at, performed_by = texts
        for text in quantities:
            _check_text(text, _LONGEST_READING)
        _check_text(performed_by, _LONGEST_NAME)
        _check_time(performed_at)
        _check_labels(labels)
        readings = tuple(quantities[: len(self._readings)])
        reduced = tuple(quantities[len(self._readings) :])
        decided = self._decided(reduced) if any(reduced) else ()
        return Parts(readings, reduced, decided, performed_at, performed_by)

    def identities(self, common: dict[str, Any]) -> tuple[Any, ...]:
        """Equal for documents that are made of the very same parts, as rows of a table are."""
        found: list[Any] = []
        for name, value in common.items():
            found.append(name)
            if name in self._opened:
                found += value
                found += [x if x.__class__ is str else id(x) for x in value.values()]
            else:
                found.append(value if value.__class__ is str else id(value))
        return tuple(found)

    def values(self, texts: Texts) -> list[Decimal | None]:
        """The readings in base units. Raises: Odd."""
        try:
            return [
                None if text is None else read_quantity(text, self._forms[path].dimension)
                for path, text in zip(self._readings, texts, strict=True)
            ]
        except QuantityError:
            raise Odd from None

    def template(self, document: dict[str, Any], parts: Parts) -> DigestTemplate:
        """The digest of all requests that hold the same and of which the same differs."""
        marks = marks_for(parts.texts)
        marked = dict(document)
        for name in self._opened:
            marked[name] = dict(marked[name])
        for path, mark in zip(self.paths, marks, strict=True):
            (marked if len(path) == 1 else marked[path[0]])[path[-1]] = mark
        return DigestTemplate(marked, self._kind.slug, marks)

    def _decides(self, texts: Texts) -> tuple[Hashable, ...]:
        found, at = [], 0
        for one in self._reductions:
            end = at + len(one.paths)
            found.append(self._of_one(one, texts[at:end]))
            at = end
        return tuple(found)

    def _of_one(self, reduction: Reduction, texts: Texts) -> Hashable:
        each = zip(reduction.paths, texts, strict=True)
        try:
            return reduction.decides(
                *[
                    None if text is None else self._forms[path].deserialize(text)
                    for path, text in each
                ]
            )
        except (QuantityError, ValidationError):
            raise Odd from None


def _taken(common: dict[str, Any], path: Path) -> str | None:
    """The text of a quantity, taken out of a request of which the parts are copies."""
    part = common if len(path) == 1 else common[path[0]]
    if path[-1] not in part:
        return None
    text: str | None = part.pop(path[-1])
    _check_text(text, _LONGEST_READING)
    return text


def _check_time(text: Any) -> None:
    """Only the day decides, but the rest must be right too, or the long way tells what is not."""
    if text is None:
        return
    if not isinstance(text, str):
        raise Odd
    try:
        _INSTANT.read(text)
    except ValidationError:
        raise Odd from None


def _check_labels(labels: Any) -> None:
    if labels is None:
        return
    if not isinstance(labels, Mapping) or len(labels) > MAX_LABELS:
        raise Odd
    for name, text in labels.items():
        if not 1 <= len(name) <= _MAX_NAME:
            raise Odd
        if not isinstance(text, str) or len(text) > MAX_LABEL_LENGTH:
            raise Odd


def _check_text(text: Any, longest: int) -> None:
    if text is not None and not (isinstance(text, str) and 1 <= len(text) <= longest):
        raise Odd
