"""Between which displayed values something passes, found by asking the code that judges.

A display shows multiples of a step, so a displayed value is a count of steps. The ends are searched
by halving, which presumes one stretch; an uncertainty that is rounded to two digits can make gaps.
So the values beside the ends, and of a short stretch all values, are asked for as well, and what
lies beyond a gap is left out.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from math import floor
from typing import Final

Accepts = Callable[[int], bool]

# Values asked for inside each end.
_BESIDE: Final = 8
# Up to this many values inside are all asked for; of more, as many evenly spread ones.
_INSIDE: Final = 40
# Where a stretch reaches this far there is no limit on that side.
_FAR: Final = 2**40


@dataclass(frozen=True, slots=True)
class Stretch:
    """Displayed values from `first` to `last`, both included; None: without end on that side."""

    first: int | None
    last: int | None


def stretch(accepts: Accepts, middle: Fraction) -> Stretch | None:
    """The accepted values around the accepted one that is nearest to `middle`; None of none.

    The ends are accepted and the next values beyond them are not.
    """
    start = next((n for n in _candidates(middle) if accepts(n)), None)
    if start is None:
        return None
    first, last = (_end(accepts, start, direction) for direction in (-1, 1))
    while (gap := _gap(accepts, start, first, last)) is not None:
        if gap < start:
            first = _between(accepts, start, gap)
        else:
            last = _between(accepts, start, gap)
    return Stretch(first, last)


def _candidates(middle: Fraction) -> Iterator[int]:
    """The values about the middle, then ever farther ones: a limit may have one side only."""
    below = floor(middle)
    yield from (below, below + 1, below - 1, below + 2)
    far = 2
    while far <= _FAR:
        yield below + far
        yield below - far
        far *= 2


def _end(accepts: Accepts, start: int, direction: int) -> int | None:
    inside, reach = start, 1
    while accepts(inside + direction * reach):
        inside += direction * reach
        reach *= 2
        if reach > _FAR:
            return None
    return _between(accepts, inside, inside + direction * reach)


def _between(accepts: Accepts, inside: int, outside: int) -> int:
    """The last accepted value before one that is not, between an accepted one and another."""
    while abs(outside - inside) > 1:
        middle = (inside + outside) // 2
        if accepts(middle):
            inside = middle
        else:
            outside = middle
    return inside


def _gap(accepts: Accepts, start: int, first: int | None, last: int | None) -> int | None:
    """The value nearest to `start` that is not accepted although it lies inside."""
    low = start - _INSIDE if first is None else first
    high = start + _INSIDE if last is None else last
    asked = {
        *range(low, high + 1, max(1, (high - low) // _INSIDE)),
        *range(low, min(low + _BESIDE, high) + 1),
        *range(max(high - _BESIDE, low), high + 1),
    }
    return min((n for n in asked if not accepts(n)), key=lambda n: abs(n - start), default=None)
