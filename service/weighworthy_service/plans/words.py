"""Amounts as sentences of plans write them, and what plans say of themselves."""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Any, Final

from weighworthy_service.checks.answer import ENGINE_REVISION
from weighworthy_service.metrology.instrument import Instrument
from weighworthy_service.metrology.rounding import Exact, rounded, rounded_up

# Digits of figures in sentences: an answer has all of them beside.
_SPOKEN: Final = 4
_MILLI: Final = 3

CAUTIONS: Final = (
    (
        "A plan tells what checks can show. It does not replace calibration by a competent "
        "laboratory, "
        "and where weighing is regulated, local rules and the responsible person decide."
    ),
    "After a run chamber and pan are hot: let them cool, and hold weights with tweezers.",
)


@dataclass(frozen=True, slots=True)
class Assumed:
    """What the request does not state and the plan takes: a JSON pointer, a value, and why."""

    field: str
    value: str
    because: str

    def as_json(self) -> dict[str, str]:
        """As an answer shows it."""
        return {"field": self.field, "value": self.value, "because": self.because}


def frame(plan: str, version: str, assumed: Iterable[Assumed], **content: Any) -> dict[str, Any]:
    """The document of a plan, with what all plans say."""
    return {
        "plan": plan,
        "engine": {"name": "weighworthy", "version": version, "revision": ENGINE_REVISION},
        **content,
        "assumed": [one.as_json() for one in assumed],
        "cautions": list(CAUTIONS),
    }


def amount(value: Exact, unit: str, digits: int = _SPOKEN) -> str:
    """`5.8 mg`, `12.5 g`, `0.04 %`: rounded half to even; small masses in mg."""
    return _written(rounded(value, digits), unit)


def amount_up(value: Exact, unit: str, digits: int = _SPOKEN) -> str:
    """The same rounded up."""
    return _written(rounded_up(value, digits), unit)


def exact(value: Decimal, unit: str) -> str:
    """With all its digits, as a request takes it."""
    return _written(value, unit)


def chance(value: float) -> str:
    """A probability in %, to two digits."""
    if value < 1e-6:
        return "less than 0.0001 %"
    return _written(rounded(value * 100, 2), "%")


def plain(value: Exact, digits: int = _SPOKEN) -> str:
    """A number without unit."""
    return _digits(rounded(value, digits))


def display_step(instrument: Instrument) -> str | None:
    """What the display of losses adds to a result that is read from it; None: no step is stated."""
    step = instrument.loss_interval
    if step is None:
        return None
    most = Fraction(step) if instrument.loss_rounding == "down" else Fraction(step) / 2
    return (
        f"A result read from the display, in steps of {exact(step, '%')}, is off by up to "
        f"{amount(most, '%')} more through that rounding."
    )


def load(names: Iterable[str]) -> str:
    """`A10 + A2`."""
    return " + ".join(names)


def share(value: Fraction) -> str:
    """`1/3`, or a percentage where that is shorter."""
    if value.numerator == 1 and value.denominator < 10:
        return f"1/{value.denominator}"
    return _written(rounded(value * 100, _SPOKEN), "%")


def _written(value: Decimal, unit: str) -> str:
    if unit == "g" and value and abs(value) < 1:
        value, unit = value.scaleb(_MILLI), "mg"
    return f"{_digits(value)} {unit}".rstrip()


def _digits(value: Decimal) -> str:
    text = f"{value:f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text in ("-0", "") else text
