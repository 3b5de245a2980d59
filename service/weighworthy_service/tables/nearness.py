"""What lies near in time, by key: rows of one key that lie farther apart are of two checks."""

from collections.abc import Hashable
from dataclasses import dataclass
from math import floor, isnan
from typing import Final, Generic, Protocol, TypeVar

# In seconds. Numbers of runs begin anew each day, and nobody leaves a run over night.
PAUSE: Final = 12 * 60 * 60


class Timed(Protocol):
    """Something that lasted from `lo` to `hi`, in seconds of the epoch; not a number: unknown."""

    @property
    def lo(self) -> float:
        """The first."""

    @property
    def hi(self) -> float:
        """The last."""


@dataclass(slots=True, eq=False)
class Stretch:
    """Rows of one key and about one time: the number of the first, and their times."""

    first: int
    lo: float
    hi: float

    def widen(self, lo: float, hi: float) -> None:
        """Last over other times, too."""
        if not isnan(lo):
            self.lo = lo if isnan(self.lo) else min(self.lo, lo)
            self.hi = hi if isnan(self.hi) else max(self.hi, hi)


T = TypeVar("T", bound=Timed)


class Nearness(Generic[T]):
    """Things by key and time, found in constant time however many a key has.

    They are kept by half-days: what lies within `PAUSE` of a time is in its own or in the next.
    """

    def __init__(self) -> None:
        self._at: dict[tuple[Hashable, int], T] = {}

    def near(self, key: Hashable, time: float) -> list[T]:
        """All that lie no farther than `PAUSE` from a time."""
        place = floor(time / PAUSE)
        found: list[T] = []
        for at in (place, place - 1, place + 1):
            one = self._at.get((key, at))
            if one is not None and one not in found and one.lo - PAUSE <= time <= one.hi + PAUSE:
                found.append(one)
        return found

    def put(self, key: Hashable, time: float, thing: T) -> None:
        """Keep a thing at a time that it lasts over; at the others it was kept before."""
        self._at[key, floor(time / PAUSE)] = thing

    def put_over(self, key: Hashable, thing: T) -> None:
        """Keep a thing over all its times."""
        for place in range(floor(thing.lo / PAUSE), floor(thing.hi / PAUSE) + 1):
            self._at[key, place] = thing

    def drop(self, key: Hashable, thing: T) -> None:
        """Forget a thing wherever it was put; one without a time never was."""
        if not isnan(thing.lo):
            for place in range(floor(thing.lo / PAUSE), floor(thing.hi / PAUSE) + 1):
                if self._at.get((key, place)) is thing:
                    del self._at[key, place]
