"""Measured values as text with their unit, and the check that nothing else goes on the wire."""

import re
from collections.abc import Mapping
from datetime import date, datetime, time
from decimal import Decimal
from typing import Any

_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?")
_INTEGER_DIGITS, _FRACTION_DIGITS, _FLOAT_DIGITS = 12, 9, 15

# JSON integers of a request; inside an inline profile every integer is a count.
_COUNTS = frozenset(
    {"repeatability_observations", "weights_on_pan", "show", "observations", "number_of_runs"}
)
_PURE_NUMBERS = frozenset({"coverage_factor", "guard_factor"})


def q(value: Decimal | int | str | float, unit: str) -> str:
    """Write a measured value as the service takes it: ``q("12.0030", "g")`` is ``"12.0030 g"``.

    ``Decimal``, ``int`` and ``str`` keep their digits. A ``float`` is written by its shortest
    representation, to at most 15 significant digits, so that ``0.1 + 0.2`` becomes ``0.3``; it
    cannot keep trailing zeros. Exponents are written out: ``1e-05`` becomes ``0.00001``.

    Raises ``TypeError`` for another type (a ``bool`` among them), ``ValueError`` for text that is
    no number, NaN, infinity, or more than 12 digits before or 9 digits after the point. The unit
    is not looked up here: the service holds the one table of units.
    """
    if not isinstance(unit, str):
        raise TypeError(f'the unit must be text, as in q(12.003, "g"), not {type(unit).__name__}')
    if not unit or unit != unit.strip():
        raise ValueError(f'the unit is missing or has blanks around it: {unit!r}; q(12.003, "g")')
    return f"{_digits(_as_decimal(value))} {unit}"


def _as_decimal(value: object) -> Decimal:
    if isinstance(value, bool) or not isinstance(value, Decimal | int | str | float):
        raise TypeError(
            f"q takes a Decimal, int, str or float, not {type(value).__name__}; "
            'for example q(12.003, "g")'
        )
    if isinstance(value, float):
        # float.__repr__, because subclasses of float may write a repr of their own.
        number = Decimal(float.__repr__(value))
        if number.is_finite() and len(number.as_tuple().digits) > _FLOAT_DIGITS:
            number = Decimal(format(float(value), f".{_FLOAT_DIGITS}g"))
    elif isinstance(value, str):
        if not _NUMBER.fullmatch(value):
            hint = "; the decimal mark is a point" if "," in value else ""
            raise ValueError(f"{value[:40]!r} is not a plain number{hint}")
        number = Decimal(value)
    else:
        number = Decimal(value)
    if not number.is_finite():
        raise ValueError(f"{value} is not a measured value")
    return number


def _digits(number: Decimal) -> str:
    _, digits, exponent = number.as_tuple()
    assert isinstance(exponent, int)  # noqa: S101 - for the type checker: the number is finite
    # An exponent alone can ask for millions of zeros: look at it before writing it out.
    if -exponent > _FRACTION_DIGITS or len(digits) + exponent > _INTEGER_DIGITS:
        raise ValueError(
            f"{str(number)[:40]} has more than {_INTEGER_DIGITS} digits before or "
            f"{_FRACTION_DIGITS} after the point: round it first"
        )
    return format(number, "f")


def plain(value: object, path: str = "", *, counts: bool = False) -> Any:
    """Give ``value`` as JSON types, refusing what would reach the service as a guess.

    Dates become ``YYYY-MM-DD``, aware datetimes RFC 3339. Raises ``TypeError`` naming the path for
    a bare number, a naive datetime or any other type.
    """
    if value is None or isinstance(value, bool | str):
        if isinstance(value, str) and not value.isascii():
            _check_text(value, path)
        return value
    if isinstance(value, int | float | Decimal):
        name = path.rpartition(".")[2]
        if isinstance(value, int) and (counts or name in _COUNTS):
            return int(value)
        raise TypeError(_bare_number(path, name, value))
    if isinstance(value, datetime):
        offset = value.utcoffset()
        if offset is None:
            raise TypeError(f"{path}: a time needs its offset from UTC; give datetime(…, tzinfo=…)")
        if offset.total_seconds() % 60:
            raise ValueError(f"{path}: an offset from UTC in seconds cannot be written in RFC 3339")
        return value.isoformat()
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Mapping):
        return _plain_members(value, path, counts)
    if isinstance(value, list | tuple):
        return [plain(item, f"{path}[{i}]", counts=counts) for i, item in enumerate(value)]
    hint = " (a time of day has no date)" if isinstance(value, time) else ""
    raise TypeError(f"{path or 'the request'}: cannot be sent: {type(value).__name__}{hint}")


def _check_text(text: str, path: str) -> None:
    try:
        text.encode()
    except UnicodeEncodeError:
        where = path or "the request"
        raise ValueError(f"{where}: half of a surrogate pair cannot be sent as text") from None


def _plain_members(value: Mapping[Any, object], path: str, counts: bool) -> dict[str, Any]:
    members = {}
    for name, item in value.items():
        if not isinstance(name, str):
            raise TypeError(f"{path or 'the request'}: names must be text, not {name!r}")
        below = f"{path}.{name}" if path else name
        members[name] = plain(item, below, counts=counts or below == "profile")
    return members


def _bare_number(path: str, name: str, value: object) -> str:
    if path.startswith("labels."):
        return f'{path}: a label is text; write "{value}"'
    if name in _PURE_NUMBERS:
        return f'{path}: a number without unit goes as text; write "{value}"'
    if name in _COUNTS:
        return f"{path}: a count is an int, not {type(value).__name__}"
    return f'{path or "the request"}: a bare number has no unit; write it as q(12.003, "g")'
