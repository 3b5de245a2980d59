"""The sheet on which a check is reckoned again: step by step, each from what stands above it."""

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction
from typing import Final

from weighworthy_service.checks.explaining.formula import WORK, Figure, Formula, Value, is_number
from weighworthy_service.checks.explaining.written import figures_of, written
from weighworthy_service.metrology.rounding import rounded

# Significant digits to which a step is written that has no end; of the answer's numbers, those that
# are exact and those that rest on floats.
_SHOWN: Final = 15
EXACT_DIGITS: Final = 15
FLOAT_DIGITS: Final = 10
# Below this a decimal is written with an exponent.
_SMALL: Final = -12


@dataclass(frozen=True, slots=True)
class Where:
    """A figure of a step: its name there, its number, and where that is found."""

    name: str
    figure: str
    origin: str


@dataclass(frozen=True, slots=True)
class Step:
    """One line of the sheet.

    `figures` is the formula with its figures put in; `result` what it comes to, exactly unless
    `digits` says to how many significant digits, half to even; then `exact` is the same as a
    quotient, if it is one, and stands in later steps. `gives`: JSON pointers to the places of the
    answer that show it, there rounded to `shown_digits`.
    """

    number: int
    what: str
    symbol: str
    formula: str
    figures: str
    result: str
    exact: str | None
    unit: str | None
    digits: int | None
    where: tuple[Where, ...]
    source: str | None
    shown_digits: int
    gives: list[str] = field(default_factory=list)


class Sheet:
    """Steps in the order of reckoning; the same formula of the same figures is one step."""

    def __init__(self) -> None:
        self.steps: list[Step] = []
        self._known: dict[tuple[str | None, ...], tuple[Step, Figure]] = {}

    def step(
        self,
        what: str,
        symbol: str,
        of: Formula,
        unit: str | None = None,
        *,
        gives: Iterable[str] = (),
        shown: int | None = None,
        source: str | None = None,
        digits: int = _SHOWN,
    ) -> Figure:
        """Write a step down; what it comes to may stand in later ones.

        `digits`: to how many what has no end is written; more where the engine decides by more.
        """
        found = list(figures_of(of))
        names = _names(found)
        formula = written(of, lambda figure: names[figure.origin])
        key = (formula, unit, *names, *[figure.text for figure in found])
        if key not in self._known:
            value = of.value
            text, exact, to = _said(value, digits)
            step = Step(
                number=len(self.steps) + 1,
                what=what,
                symbol=symbol,
                formula=formula,
                figures=written(of, lambda figure: figure.text),
                result=text,
                exact=exact,
                unit=unit,
                digits=to,
                where=_where(found, names),
                source=source,
                shown_digits=shown or (FLOAT_DIGITS if to and not exact else EXACT_DIGITS),
            )
            self.steps.append(step)
            known = Decimal(text) if to and not exact else value
            shown_later = exact or (text if is_number(value) else f'"{text}"')
            self._known[key] = step, Figure(symbol, shown_later, known, f"step {step.number}")
        step, figure = self._known[key]
        step.gives.extend(place for place in gives if place not in step.gives)
        return figure.named(symbol)

    def also(self, figure: Figure, *gives: str) -> Figure:
        """Say where else the answer shows what a step came to."""
        known = self.steps[int(figure.origin.removeprefix("step ")) - 1].gives
        known.extend(place for place in gives if place not in known)
        return figure


def _said(value: Value, digits: int) -> tuple[str, str | None, int | None]:
    """The text of a result; of one without end also its quotient; to how many digits it is."""
    if not is_number(value):
        return str(value), None, None
    if isinstance(value, Decimal):
        return _rounded(value, digits), None, digits
    text, rest = _finite(value)
    return (text, None, None) if rest == 1 else (_rounded(value, digits), f"{text}/{rest}", digits)


def _rounded(value: Fraction | Decimal, digits: int) -> str:
    # The context of a calling script would cut digits off.
    text = WORK.normalize(rounded(value, digits))
    return f"{text:f}" if text.adjusted() >= _SMALL or not text else f"{text}".lower()


def _finite(number: Fraction) -> tuple[str, int]:
    """All its digits, and what these are still to be divided by, if they have no end."""
    rest, twos, fives = number.denominator, 0, 0
    while rest % 2 == 0:
        rest, twos = rest // 2, twos + 1
    while rest % 5 == 0:
        rest, fives = rest // 5, fives + 1
    places = max(twos, fives)
    whole = abs(number.numerator) * 10**places // (number.denominator // rest)
    digits = str(whole).rjust(places + 1, "0")
    text = f"{digits[:-places]}.{digits[-places:]}" if places else digits
    return f"{'-' if number < 0 else ''}{text}", rest


def _where(found: Iterable[Figure], names: Mapping[str, str]) -> tuple[Where, ...]:
    by_origin = {f.origin: Where(names[f.origin], f.text, f.origin) for f in found}
    return tuple(by_origin.values())


def _names(found: Iterable[Figure]) -> dict[str, str]:
    """A name for each figure by where it comes from; those of one symbol are counted."""
    symbols = {figure.origin: figure.symbol for figure in found}
    many = {symbol for symbol, times in Counter(symbols.values()).items() if times > 1}
    counted: Counter[str] = Counter()
    names = {}
    for origin, symbol in symbols.items():
        counted[symbol] += 1
        names[origin] = f"{symbol}{counted[symbol]}" if symbol in many else symbol
    return names
