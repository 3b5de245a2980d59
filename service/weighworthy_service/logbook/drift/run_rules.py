"""Run rules: patterns among the last values that chance alone makes seldom.

The eight of L. S. Nelson, Journal of Quality Technology 16 (1984) 237-239, and the four of the
Western Electric handbook (1956). Values are in units of sigma about the centre. "Beyond" is
strictly beyond; equal values neither rise nor fall; a value on the centre line, or nearer to it
than the display can tell, is on neither side of it. A rule that asks for some of several values
speaks at a value that is itself one of them.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import accumulate, pairwise
from math import comb, factorial
from types import MappingProxyType
from typing import Final, Literal

from scipy.special import ndtr

Shape = Literal["beyond-on-one-side", "beyond-on-either-side", "within", "trend", "alternating"]
_WORDS: Final[Mapping[Shape, str]] = MappingProxyType(
    {
        "beyond-on-one-side": "{need} of {window} beyond {sigma:g} σ on one side",
        "beyond-on-either-side": "{window} in a row beyond {sigma:g} σ on either side",
        "within": "{window} in a row within {sigma:g} σ of the centre",
        "trend": "{window} in a row rising, or falling",
        "alternating": "{window} in a row rising and falling in turn",
    }
)


@dataclass(frozen=True, slots=True)
class RunRule:
    """One rule. It looks at the last `window` values; `need` of them make it speak."""

    name: str
    shape: Shape
    window: int
    need: int
    sigma: float = 0.0

    @property
    def words(self) -> str:
        """The rule in words."""
        if self.need == self.window and self.shape == "beyond-on-one-side":
            where = f"beyond {self.sigma:g} σ " if self.sigma else ""
            return (
                where.strip() if self.window == 1 else f"{self.window} in a row {where}on one side"
            )
        return _WORDS[self.shape].format(need=self.need, window=self.window, sigma=self.sigma)

    @property
    def false_alarms(self) -> float:
        """How often it speaks, per value, if values are independent and normal and the centre and
        sigma are exactly known: what follows from counting.
        """
        beyond = float(ndtr(-self.sigma))
        if self.shape == "beyond-on-one-side":
            others = self.window - 1
            enough = range(self.need - 1, self.window)
            chances = (comb(others, j) * beyond**j * (1 - beyond) ** (others - j) for j in enough)
            return 2 * beyond * sum(chances)
        if self.shape == "beyond-on-either-side":
            return (2 * beyond) ** self.window
        if self.shape == "within":
            return (1 - 2 * beyond) ** self.window
        orders = 1 if self.shape == "trend" else _alternating_orders(self.window)
        return 2 * orders / factorial(self.window)


def _nelson(number: int, shape: Shape, window: int, need: int, sigma: float = 0.0) -> RunRule:
    return RunRule(f"rule-{number}", shape, window, need, sigma)


NELSON: Final[Mapping[int, RunRule]] = MappingProxyType(
    {
        1: _nelson(1, "beyond-on-one-side", 1, 1, 3),
        2: _nelson(2, "beyond-on-one-side", 9, 9),
        3: _nelson(3, "trend", 6, 6),
        4: _nelson(4, "alternating", 14, 14),
        5: _nelson(5, "beyond-on-one-side", 3, 2, 2),
        6: _nelson(6, "beyond-on-one-side", 5, 4, 1),
        7: _nelson(7, "within", 15, 15, 1),
        8: _nelson(8, "beyond-on-either-side", 8, 8, 1),
    }
)


def counted(number: int, count: int) -> RunRule:
    """The rule of that number with another count of values in a row.

    Raises:
        ValueError: no such rule, it is not about values in a row, or fewer than two of them.
    """
    rule = NELSON.get(number)
    if rule is None or rule.need != rule.window or rule.window == 1:
        raise ValueError(f"rule {number} has no count of values in a row")
    if count < 2:
        raise ValueError(f"{count}: a row has at least two values")
    name = rule.name if count == rule.window else f"{rule.name}-of-{count}"
    return RunRule(name, rule.shape, count, count, rule.sigma)


WESTERN_ELECTRIC: Final = (NELSON[1], NELSON[5], NELSON[6], counted(2, 8))


def firings(values: Sequence[float], rule: RunRule, neither_side: float = 0.0) -> list[int]:
    """Positions at which the rule speaks, of values in units of sigma about the centre.

    `neither_side`: up to which distance from the centre a value is on neither side of it.
    """
    if rule.shape == "beyond-on-one-side":
        rule = replace(rule, sigma=max(rule.sigma, neither_side))
    speaks = _SPEAKS[rule.shape]
    return [
        i
        for i in range(rule.need - 1, len(values))
        if speaks(values[max(0, i - rule.window + 1) : i + 1], rule)
    ]


def _one_side(last: Sequence[float], rule: RunRule) -> bool:
    side = 1 if last[-1] > 0 else -1
    if side * last[-1] <= rule.sigma:
        return False
    return sum(side * value > rule.sigma for value in last) >= rule.need


def _either_side(last: Sequence[float], rule: RunRule) -> bool:
    return all(abs(value) > rule.sigma for value in last)


def _within(last: Sequence[float], rule: RunRule) -> bool:
    return all(abs(value) <= rule.sigma for value in last)


def _trend(last: Sequence[float], rule: RunRule) -> bool:
    steps = [later - earlier for earlier, later in pairwise(last)]
    return all(step > 0 for step in steps) or all(step < 0 for step in steps)


def _alternates(last: Sequence[float], rule: RunRule) -> bool:
    steps = [later - earlier for earlier, later in pairwise(last)]
    return all(before * after < 0 for before, after in pairwise(steps)) and steps[0] != 0


_SPEAKS: Final[Mapping[Shape, Callable[[Sequence[float], RunRule], bool]]] = MappingProxyType(
    {
        "beyond-on-one-side": _one_side,
        "beyond-on-either-side": _either_side,
        "within": _within,
        "trend": _trend,
        "alternating": _alternates,
    }
)


def _alternating_orders(count: int) -> int:
    """In how many orders `count` different values rise and fall in turn, rising first.

    The zigzag numbers 1, 1, 1, 2, 5, 16, 61 (Seidel's triangle: running sums, forth and back).
    """
    row = [1]
    for _ in range(count):
        row = list(accumulate(reversed(row), initial=0))
    return row[-1]
