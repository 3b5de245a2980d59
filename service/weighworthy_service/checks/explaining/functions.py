"""What a pocket calculator has keys for, a table columns, or a rule words."""

from decimal import Decimal
from fractions import Fraction
from itertools import pairwise
from typing import Final

from weighworthy_service.checks.explaining.formula import WORK, Formula, Value, decimal, formula
from weighworthy_service.checks.outcome import VERDICTS
from weighworthy_service.metrology import scatter
from weighworthy_service.metrology.budget import chi_square_quantile, t_probability, t_quantile
from weighworthy_service.metrology.rounding import rounded, rounded_to_place, rounded_up

_VERDICTS: Final[tuple[Value, ...]] = VERDICTS


def total(parts: list[Formula]) -> Formula:
    """The sum of one or several."""
    first, *rest = parts
    for part in rest:
        first = first + part
    return first


def sqrt(of: Formula) -> Formula:
    return Formula("sqrt", (of,), WORK.sqrt(decimal(of.number)))


def exp(of: Formula) -> Formula:
    return Formula("exp", (of,), WORK.exp(decimal(of.number)))


def smallest(*of: Formula) -> Formula:
    """The only one, or the smallest."""
    return of[0] if len(of) == 1 else Formula("min", of, min(f.number for f in of))


def largest(*of: Formula) -> Formula:
    """The only one, or the largest."""
    return of[0] if len(of) == 1 else Formula("max", of, max(f.number for f in of))


def half_even(of: Formula, digits: int) -> Formula:
    """Half to even at so many significant digits."""
    return Formula("round_half_even", (of, formula(digits)), Fraction(rounded(of.number, digits)))


def upwards(of: Formula, digits: int) -> Formula:
    """Away from zero at so many significant digits."""
    return Formula("round_up", (of, formula(digits)), Fraction(rounded_up(of.number, digits)))


def to_multiple(of: Formula, step: Formula) -> Formula:
    """Half to even at a multiple of a step."""
    place = decimal(step.number)
    return Formula("round_to_multiple", (of, step), rounded_to_place(of.number, place))


def quantile(probability: Formula, degrees: Formula | None) -> Formula:
    """Of Student's t distribution; of the normal one without degrees of freedom."""
    args = (probability,) if degrees is None else (probability, degrees)
    found = t_quantile(float(probability.number), _degrees(degrees))
    return Formula("normal_quantile" if degrees is None else "t_quantile", args, _of_float(found))


def probability(of: Formula, degrees: Formula | None) -> Formula:
    """Cumulative, of Student's t distribution; of the normal one without degrees of freedom."""
    args = (of,) if degrees is None else (of, degrees)
    found = t_probability(float(of.number), _degrees(degrees))
    return Formula(
        "normal_probability" if degrees is None else "t_probability", args, _of_float(found)
    )


def chi_square(probability: Formula, degrees: Formula) -> Formula:
    """Quantile of the chi-square distribution."""
    found = chi_square_quantile(float(probability.number), float(degrees.number))
    return Formula("chi_square_quantile", (probability, degrees), _of_float(found))


def c4(n: Formula) -> Formula:
    """Mean of the standard deviation of n normal results, over the true one."""
    return Formula("c4", (n,), scatter.c4(int(n.number)))


def ascending(*of: Formula) -> Formula:
    """Whether each is at most the next."""
    return Formula("<=", of, all(a.number <= b.number for a, b in pairwise(of)))


def both(one: Formula, other: Formula) -> Formula:
    """Whether both conditions hold."""
    return Formula("and", (one, other), bool(one.value and other.value))


def choice(condition: Formula, then: str, otherwise: "Formula | str") -> Formula:
    """A word if the condition holds."""
    other = _word(otherwise) if isinstance(otherwise, str) else otherwise
    args = (_word(then), condition, other)
    return Formula("if", args, then if condition.value else other.value)


def worst(*verdicts: Formula) -> Formula:
    """The only one, or the worst of several verdicts."""
    if len(verdicts) == 1:
        return verdicts[0]
    return Formula("worst", verdicts, max((v.value for v in verdicts), key=_VERDICTS.index))


def _word(text: str) -> Formula:
    return Formula("text", (text,), text)


def _degrees(degrees: Formula | None) -> float:
    return float("inf") if degrees is None else float(degrees.number)


def _of_float(value: float) -> Decimal:
    return Decimal.from_float(value)
