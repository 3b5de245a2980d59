"""Formulas that know their own text: with names, with figures, and worked out.

Written as Python writes expressions, so that anybody's evaluator can work them out again. What is
made of whole numbers and decimals by + - * / and whole powers alone is a fraction and stays exact;
roots, exponentials and tables give decimals of more digits than are ever shown.
"""

from decimal import ROUND_HALF_EVEN, Decimal
from fractions import Fraction
from typing import Any, Final, TypeGuard

from weighworthy_service.metrology.rounding import rounding_context

Value = Fraction | Decimal | str | bool
Number = Fraction | Decimal

WORK: Final = rounding_context(40, ROUND_HALF_EVEN)


class Formula:
    """An expression with its value: exact if it is a fraction."""

    __slots__ = ("args", "op", "value")

    def __init__(self, op: str, args: tuple[Any, ...], value: Value) -> None:
        self.op, self.args, self.value = op, args, value

    @property
    def number(self) -> Number:
        """The value of one that is a number."""
        assert is_number(self.value)  # noqa: S101  only verdicts and conditions are none
        return self.value

    def __add__(self, other: "Operand") -> "Formula":
        return _sum(self, 1, formula(other))

    def __radd__(self, other: "Operand") -> "Formula":
        return _sum(formula(other), 1, self)

    def __sub__(self, other: "Operand") -> "Formula":
        return _sum(self, -1, formula(other))

    def __rsub__(self, other: "Operand") -> "Formula":
        return _sum(formula(other), -1, self)

    def __mul__(self, other: "Operand") -> "Formula":
        return _product(self, formula(other))

    def __rmul__(self, other: "Operand") -> "Formula":
        return _product(formula(other), self)

    def __truediv__(self, other: "Operand") -> "Formula":
        return _quotient(self, formula(other))

    def __rtruediv__(self, other: "Operand") -> "Formula":
        return _quotient(formula(other), self)

    def __pow__(self, power: int) -> "Formula":
        base = self.number
        value = base**power if isinstance(base, Fraction) else WORK.power(base, power)
        return Formula("**", (self, power), value)

    def __neg__(self) -> "Formula":
        value = self.number
        sign = -value if isinstance(value, Fraction) else value.copy_negate()
        return Formula("-", (self,), sign)

    def __abs__(self) -> "Formula":
        value = self.number
        return Formula(
            "abs", (self,), abs(value) if isinstance(value, Fraction) else value.copy_abs()
        )


class Figure(Formula):
    """A number with a name and the place that it comes from."""

    __slots__ = ("origin", "symbol", "text")

    def __init__(self, symbol: str, text: str, value: Value, origin: str) -> None:
        super().__init__("figure", (), value)
        self.symbol, self.text, self.origin = symbol, text, origin

    def named(self, symbol: str) -> "Figure":
        """The same under another name."""
        return Figure(symbol, self.text, self.value, self.origin)


Operand = Formula | int | float | Decimal


def stated(symbol: str, value: Decimal | int, origin: str) -> Figure:
    """A figure as somebody wrote it, trailing zeros included."""
    return Figure(
        symbol, f"{value:f}" if isinstance(value, Decimal) else str(value), Fraction(value), origin
    )


def formula(operand: Operand) -> Formula:
    """A number of a formula itself, like the 2 of k = 2; a float by its shortest text."""
    if isinstance(operand, Formula):
        return operand
    text = f"{operand:f}" if isinstance(operand, Decimal) else repr(operand)
    return Formula("number", (text,), Fraction(text))


def is_number(value: Value) -> TypeGuard[Number]:
    """Whether it can be reckoned with."""
    return isinstance(value, Fraction | Decimal)


def decimal(number: Number) -> Decimal:
    """With as many digits as are reckoned with."""
    if isinstance(number, Decimal):
        return number
    return WORK.divide(Decimal(number.numerator), Decimal(number.denominator))


def _sum(one: Formula, sign: int, other: Formula) -> Formula:
    before = one.args if one.op == "sum" else ((1, one),)
    a, b = one.number, other.number
    value: Number
    if isinstance(a, Fraction) and isinstance(b, Fraction):
        value = a + b if sign > 0 else a - b
    else:
        value = (WORK.add if sign > 0 else WORK.subtract)(decimal(a), decimal(b))
    return Formula("sum", (*before, (sign, other)), value)


def _product(one: Formula, other: Formula) -> Formula:
    a, b = one.number, other.number
    if isinstance(a, Fraction) and isinstance(b, Fraction):
        return Formula("*", (one, other), a * b)
    return Formula("*", (one, other), WORK.multiply(decimal(a), decimal(b)))


def _quotient(one: Formula, other: Formula) -> Formula:
    a, b = one.number, other.number
    if isinstance(a, Fraction) and isinstance(b, Fraction):
        return Formula("/", (one, other), a / b)
    return Formula("/", (one, other), WORK.divide(decimal(a), decimal(b)))
