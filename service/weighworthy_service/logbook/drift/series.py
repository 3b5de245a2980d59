"""A series of errors as found that belong together: what it is about, and what cuts it.

A series ends where the balance or its reference became another one: at an adjustment or a service,
at a check that adjusted (after its own reading as found), at a move (gravity and level changed), at
new weights, and at a check with other weights than the last of its series: none in common, or one
of the same name with another certificate. A trend across such a cut would be wrong. A power-off, a
cleaning, and time out of service do not cut by themselves: what they did is what a chart shows.
"""

from dataclasses import dataclass, field
from datetime import datetime
from typing import Final, NamedTuple

from weighworthy_service.logbook.entries import ADJUSTING

CUTTING: Final = ADJUSTING | {"move", "weights-replaced"}


class SeriesKey(NamedTuple):
    """What a series is about; fields as in `Measured`. `expected_loss` is that of its first."""

    check: str
    criterion: str
    unit: str
    load: float | None
    directions: str
    expected_loss: float | None


class Point(NamedTuple):
    """An error as found, in g or %, and the check entry that says it."""

    entry: str
    at: datetime
    value: float
    expanded_uncertainty: float | None
    lower_limit: float | None
    upper_limit: float | None


class Cut(NamedTuple):
    """Where a series begins or ends. The check that adjusted ends a series as its last point.

    `why`: the kind of an entry that cuts, `adjusted-in-check`, or `other-weights`.
    """

    entry: str
    at: datetime
    why: str


@dataclass(slots=True)
class Series:
    """Points in order of time, between two cuts; None: the beginning, or still going on.

    `void` and `without_value` are the checks of the kind in between, by entry, that give no point:
    void ones, and valid ones that say no error as found at all.
    """

    key: SeriesKey
    began: Cut | None
    ended: Cut | None = None
    points: list[Point] = field(default_factory=list)
    void: tuple[str, ...] = ()
    without_value: tuple[str, ...] = ()
    weights: dict[str, str] = field(default_factory=dict)
