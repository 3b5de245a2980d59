"""Quantities as people write them ("12.0034 g"), read exactly into one base unit per dimension.

The table of units is closed and its factors are exact. A number without its unit is refused:
`12.003` from a spreadsheet could be grams or milligrams, and a guess would look like a result.
"""

import re
from decimal import (
    ROUND_UP,
    Context,
    Decimal,
    DivisionByZero,
    FloatOperation,
    Inexact,
    InvalidOperation,
)
from typing import Final, Literal

# Wide enough for sums and products of the longest permitted numbers; anything inexact is a bug.
EXACT: Final = Context(prec=200, traps=[Inexact, FloatOperation, InvalidOperation, DivisionByZero])
_UPWARDS: Final = Context(prec=200, rounding=ROUND_UP)

MAX_INTEGER_DIGITS: Final = 12
MAX_FRACTION_DIGITS: Final = 9
NUMBER_PATTERN: Final = rf"-?[0-9]{{1,{MAX_INTEGER_DIGITS}}}(\.[0-9]{{1,{MAX_FRACTION_DIGITS}}})?"

# Decimals within which any quantity of a request can be written in its base unit, the finest unit
# being a millionth of that. In whole numbers of the last decimal measured values are exact.
QUANTA_PLACES: Final = MAX_FRACTION_DIGITS + 6
QUANTA: Final = 10**QUANTA_PLACES

_MICROGRAM = ("ug", "µg", "μg")

# dimension -> unit -> factor to the dimension's base unit, which comes first.
# Codes follow UCUM (https://ucum.org), of which this is a closed subset.
UNITS: Final[dict[str, dict[str, Decimal]]] = {
    "mass": {
        "g": Decimal(1),
        "mg": Decimal("1e-3"),
        "kg": Decimal("1e3"),
        **dict.fromkeys(_MICROGRAM, Decimal("1e-6")),
    },
    "share": {"%": Decimal(1)},
    "time": {"s": Decimal(1), "min": Decimal(60), "h": Decimal(3600)},
    "temperature": {"Cel": Decimal(1), "°C": Decimal(1)},
    "temperature_difference": {"K": Decimal(1)},
    "pressure": {"hPa": Decimal(1), "Pa": Decimal("1e-2"), "kPa": Decimal("1e1")},
    "density": {"kg/m3": Decimal(1), "g/cm3": Decimal("1e3")},
}

_EXAMPLES: Final = {
    "mass": "12.003 g",
    "share": "0.05 %",
    "time": "75 min",
    "temperature": "21.5 Cel",
    "temperature_difference": "2 K",
    "pressure": "1013.2 hPa",
    "density": "7950 kg/m3",
}

Sign = Literal["any", "not-negative", "positive"]
_SIGN_WORDS: Final = {
    "positive": "greater than zero",
    "not-negative": "zero or more, without a sign",
}
_SIGN_PATTERNS: Final = {"any": "", "not-negative": "(?!-)", "positive": "(?=[0.]*[1-9])"}

_NUMBER = re.compile(NUMBER_PATTERN)
# A unit never begins like a number: otherwise a second blank would cost the number a digit.
_PARTS = re.compile(r"(-?[0-9][0-9.,]*) ?([^\s0-9.,].*)?", re.DOTALL)
_COMMA = re.compile(r"-?[0-9]+,[0-9]+")
_EXPONENT = re.compile(r"[eE][+-]?[0-9]+.*", re.DOTALL)
_LONG = re.compile(r"-?[0-9]+(\.[0-9]+)?")


class QuantityError(ValueError):
    """A text that is no quantity: `code` for programs, `detail` with the right form for people."""

    def __init__(self, code: str, detail: str) -> None:
        super().__init__(detail)
        self.code = code
        self.detail = detail


def read_quantity(text: object, dimension: str, sign: Sign = "any") -> Decimal:
    """Read `"number unit"` exactly into the base unit of `dimension` (g, %, s, Cel, K, hPa, kg/m3).

    The digits stay as they were written, trailing zeros included.

    Raises:
        QuantityError: with one of the codes `unit-missing`, `decimal-comma`, `number-too-long`,
            `number-malformed`, `unit-not-taken`, `out-of-range` (the sign).
    """
    units = UNITS[dimension]
    number, unit = split_quantity(text, example=_EXAMPLES[dimension])
    if unit not in units:
        taken = ", ".join(units)
        raise QuantityError("unit-not-taken", f"the unit {unit[:16]!r} is not taken here: {taken}")
    if (sign == "positive" and not number > 0) or (sign == "not-negative" and number.is_signed()):
        raise QuantityError("out-of-range", f"must be {_SIGN_WORDS[sign]}")
    return EXACT.multiply(number, units[unit])


def in_quanta(value: Decimal) -> int:
    """A quantity in its base unit as a whole number, over `QUANTA`; far quicker to reckon with.

    Raises:
        ValueError: it is finer than a request can write.
    """
    scaled = EXACT.scaleb(value, QUANTA_PLACES)
    whole = int(scaled)
    if whole != scaled:
        raise ValueError(f"{value} has more than {QUANTA_PLACES} decimals")
    return whole


def from_quanta(whole: int) -> Decimal:
    """The quantity in its base unit."""
    return EXACT.scaleb(Decimal(whole), -QUANTA_PLACES)


def written_mass(value: Decimal) -> str:
    """A mass in g, zero or more, as a request states it; what that cannot hold is rounded up."""
    unit = "g" if value >= 1 else "mg" if value >= UNITS["mass"]["ug"] else "ug"
    number = EXACT.divide(value, UNITS["mass"][unit])
    stated = _UPWARDS.quantize(number, Decimal(1).scaleb(-MAX_FRACTION_DIGITS))
    return f"{EXACT.normalize(stated):f} {unit}"


def split_quantity(text: object, example: str) -> tuple[Decimal, str]:
    """Split `"number unit"` into the number as written and the unit, whatever the unit is."""
    if not isinstance(text, str):
        if isinstance(text, int | float) and not isinstance(text, bool):
            raise QuantityError("unit-missing", f'write a text with its unit, like "{example}"')
        raise QuantityError(
            "wrong-type", f'a text with number and unit is needed, like "{example}"'
        )
    parts = _PARTS.fullmatch(text)
    if parts is None:
        raise QuantityError("number-malformed", f'not a number with a unit; write "{example}"')
    number, unit = parts[1], parts[2]
    if _COMMA.fullmatch(number):
        raise QuantityError("decimal-comma", f'write the decimal mark as a point, like "{example}"')
    if not _NUMBER.fullmatch(number):
        if _LONG.fullmatch(number):
            raise QuantityError(
                "number-too-long",
                f"at most {MAX_INTEGER_DIGITS} digits before the point "
                f"and {MAX_FRACTION_DIGITS} after it",
            )
        raise QuantityError("number-malformed", f'not a number with a unit; write "{example}"')
    if unit is not None and _EXPONENT.fullmatch(unit):
        raise QuantityError("number-malformed", f'write all digits, no exponent, like "{example}"')
    if unit is None:
        raise QuantityError("unit-missing", f'the unit is missing; write for example "{example}"')
    if text.endswith((" ", "\n")):
        raise QuantityError("number-malformed", f'no blank behind the unit; write "{example}"')
    return Decimal(number), unit


def quantity_pattern(dimension: str, sign: Sign = "any") -> str:
    """The same grammar as a regular expression (ECMA 262), for the published schemas."""
    units = "|".join(UNITS[dimension])
    return f"^{_SIGN_PATTERNS[sign]}{NUMBER_PATTERN} ?({units})$"


def quantity_example(dimension: str) -> str:
    """A well-formed value of the dimension, for messages and documents."""
    return _EXAMPLES[dimension]
