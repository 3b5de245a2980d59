"""Strict fields: what each takes is exactly what its published JSON Schema says.

marshmallow's own number, boolean and constant fields coerce ("1", 1.9, "yes"); a laboratory's
record must not depend on that. Every field says itself how it is published (`keywords`). A field
that is not required takes null, which is the same as leaving it out.
"""

import re
from abc import abstractmethod
from collections.abc import Iterable
from datetime import date, datetime, time, tzinfo
from decimal import Decimal
from functools import lru_cache
from typing import Any, Final, Generic, TypeVar

from marshmallow import ValidationError, fields

from weighworthy_service.metrology.quantity import (
    MAX_FRACTION_DIGITS,
    MAX_INTEGER_DIGITS,
    QuantityError,
    Sign,
    quantity_example,
    quantity_pattern,
    read_quantity,
)
from weighworthy_service.metrology.weights import weight_classes
from weighworthy_service.wire.coded import nearest, refused

T = TypeVar("T")

_UNSIGNED: Final = rf"[0-9]{{1,{MAX_INTEGER_DIGITS}}}(\.[0-9]{{1,{MAX_FRACTION_DIGITS}}})?"
_ABOVE_ZERO: Final = "(?=[0.]*[1-9])"
_DATE: Final = r"[0-9]{4}-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])"
_TIME: Final = r"T([01][0-9]|2[0-3]):[0-5][0-9]:[0-5][0-9](\.[0-9]{1,9})?"
_OFFSET: Final = r"(Z|[+-]([01][0-9]|2[0-3]):[0-5][0-9])"
_INSTANT: Final = re.compile(_DATE + _TIME + _OFFSET)


class Strict(fields.Field[T], Generic[T]):
    """Base: a missing or null required value is `required`; a null optional value is absent."""

    wanted = "another value"

    def __init__(self, *args: Any, required: bool = False, **kwargs: Any) -> None:
        kwargs.setdefault("allow_none", not required)
        super().__init__(*args, required=required, **kwargs)

    def make_error(self, key: str, **_: Any) -> ValidationError:
        if key in ("required", "null"):
            return refused("required", "this value is needed")
        return refused("wrong-type", f"{self.wanted} is needed")

    def keywords(self) -> dict[str, Any]:
        """The field in JSON Schema, null apart, as far as its base class does not say it."""
        return {}


class _String(Strict[T], Generic[T]):
    """Reads a JSON string; `read` gets nothing else."""

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> T:
        if not isinstance(value, str):
            raise self.make_error("invalid")
        return self.read(value)

    @abstractmethod
    def read(self, text: str) -> T:
        """The value that the text stands for."""


class Quantity(Strict[Decimal]):
    """`"number unit"` into a Decimal in the base unit of the dimension; bounds in that unit."""

    def __init__(
        self,
        dimension: str,
        sign: Sign = "any",
        bounds: tuple[int, int] | None = None,
        **kwargs: Any,
    ) -> None:
        super().__init__(**kwargs)
        self.dimension, self.sign, self.bounds = dimension, sign, bounds

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> Decimal:
        try:
            number = read_quantity(value, self.dimension, self.sign)
        except QuantityError as error:
            raise refused(error.code, error.detail) from None
        if self.bounds and not self.bounds[0] <= number <= self.bounds[1]:
            raise refused("out-of-range", f"must be {self._range}")
        return number

    @property
    def _range(self) -> str:
        unit = quantity_example(self.dimension).partition(" ")[2]
        return f"from {self.bounds[0]} to {self.bounds[1]} {unit}" if self.bounds else ""

    def keywords(self) -> dict[str, Any]:
        published: dict[str, Any] = {
            "type": "string",
            "pattern": quantity_pattern(self.dimension, self.sign),
            "examples": [quantity_example(self.dimension)],
        }
        if self.bounds:
            # A range over several units cannot be written as a pattern.
            published["description"] = f"Must be {self._range}."
        return published


class PureNumber(_String[Decimal]):
    """A number without unit, written as a string of digits."""

    wanted = 'a text of digits, like "2",'

    def __init__(self, *, positive: bool = False, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.pattern = (_ABOVE_ZERO if positive else "") + _UNSIGNED

    def read(self, text: str) -> Decimal:
        if re.fullmatch(self.pattern, text):
            return Decimal(text)
        if re.fullmatch("[0-9]+,[0-9]+", text):
            raise refused("decimal-comma", "write the decimal mark as a point")
        if re.fullmatch(_UNSIGNED, text):
            raise refused("out-of-range", "must be greater than zero")
        if re.fullmatch(r"[0-9]+(\.[0-9]+)?", text):
            raise refused(
                "number-too-long",
                f"at most {MAX_INTEGER_DIGITS} digits before the point "
                f"and {MAX_FRACTION_DIGITS} after it",
            )
        raise refused("number-malformed", "a number of digits is needed, without sign or unit")

    def keywords(self) -> dict[str, Any]:
        return {"type": "string", "pattern": f"^{self.pattern}$"}


class Count(Strict[int]):
    """A JSON integer (written without a point) between two bounds, both included."""

    wanted = "a whole number, without quotes or decimal point,"

    def __init__(self, minimum: int, maximum: int, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.minimum, self.maximum = minimum, maximum

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> int:
        if not isinstance(value, int) or isinstance(value, bool):
            raise self.make_error("invalid")
        if not self.minimum <= value <= self.maximum:
            raise refused("out-of-range", f"must be from {self.minimum} to {self.maximum}")
        return value

    def keywords(self) -> dict[str, Any]:
        return {"type": "integer", "minimum": self.minimum, "maximum": self.maximum}


class Flag(Strict[bool]):
    """true or false, nothing that looks like them."""

    wanted = "true or false"

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> bool:
        if not isinstance(value, bool):
            raise self.make_error("invalid")
        return value

    def keywords(self) -> dict[str, Any]:
        return {"type": "boolean"}


class Text(_String[str]):
    """A text of bounded length, and of a given pattern where one is given."""

    wanted = "a text"

    def __init__(
        self, maximum: int = 200, *, minimum: int = 1, pattern: str | None = None, **kwargs: Any
    ) -> None:
        super().__init__(**kwargs)
        self.minimum, self.maximum, self.pattern = minimum, maximum, pattern

    def read(self, text: str) -> str:
        if len(text) > self.maximum:
            raise refused("too-long", f"at most {self.maximum} characters")
        if len(text) < self.minimum:
            raise refused("too-short", "must not be empty")
        if self.pattern and not re.fullmatch(self.pattern, text):
            raise refused("malformed-text", f"must match {self.pattern}")
        return text

    def keywords(self) -> dict[str, Any]:
        published = {"type": "string", "minLength": self.minimum, "maxLength": self.maximum}
        return {**published, "pattern": f"^{self.pattern}$"} if self.pattern else published


class OneOf(_String[str]):
    """One of some fixed texts."""

    wanted = "a text"

    def __init__(self, choices: Iterable[str], **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.choices = tuple(choices)

    def read(self, text: str) -> str:
        if text not in self.choices:
            listed = ", ".join(self.choices)
            raise refused("not-one-of", f"must be one of: {listed}{nearest(text, self.choices)}")
        return text

    def keywords(self) -> dict[str, Any]:
        if len(self.choices) == 1:
            return {"type": "string", "const": self.choices[0]}
        return {"type": "string", "enum": list(self.choices)}


class WeightClass(OneOf):
    """Designation of an accuracy class, like "OIML F1" or "ASTM 1"."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(weight_classes(), **kwargs)


class Date(_String[date]):
    """A calendar date, `YYYY-MM-DD`."""

    wanted = "a date like 2026-03-01"

    def read(self, text: str) -> date:
        if re.fullmatch(_DATE, text):
            try:
                return date.fromisoformat(text)
            except ValueError:
                raise refused("malformed-date", "there is no such day") from None
        raise refused("malformed-date", "write the date like 2026-03-01")

    def keywords(self) -> dict[str, Any]:
        return {"type": "string", "format": "date", "pattern": f"^{_DATE}$"}


def instant_of(text: str) -> datetime:
    """Of a text of the pattern of `Instant`; raises ValueError where there is no such day.

    Times of one offset share it as an object: Python compares them some forty times as quickly.
    """
    return datetime.combine(_day(text[:10]), _clock(text[11:]))


# In long logs days and times of day come again and again.
@lru_cache(maxsize=1024)
def _day(text: str) -> date:
    return date.fromisoformat(text)


@lru_cache(maxsize=4096)
def _clock(text: str) -> time:
    begin = -1 if text[-1] == "Z" else -6
    return time.fromisoformat(text[:begin]).replace(tzinfo=_offset(text[begin:]))


@lru_cache(maxsize=128)
def _offset(text: str) -> tzinfo | None:
    return time.fromisoformat(f"00:00{text}").tzinfo


class Instant(_String[datetime]):
    """A time with its offset to UTC (RFC 3339): without it, nobody else can tell when it was."""

    wanted = "a time like 2026-03-01T08:15:00+01:00"
    pattern: Final = _INSTANT.pattern

    def read(self, text: str) -> datetime:
        if _INSTANT.fullmatch(text):
            try:
                return instant_of(text)
            except ValueError:
                raise refused("malformed-time", "there is no such day") from None
        if re.fullmatch(rf"{_DATE}[Tt ][0-9:.]+", text):
            raise refused(
                "offset-missing",
                "the offset to UTC is missing; write for example 2026-03-01T08:15:00+01:00",
            )
        raise refused("malformed-time", "write the time like 2026-03-01T08:15:00+01:00")

    def keywords(self) -> dict[str, Any]:
        return {"type": "string", "format": "date-time", "pattern": f"^{self.pattern}$"}
