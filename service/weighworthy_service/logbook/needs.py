"""What is left to do about a result: whether it may stand on the wrong side of its limits, and who
has to look at it."""

from collections.abc import Callable, Iterable
from fractions import Fraction
from typing import Final, Literal

from weighworthy_service.logbook.entries import Result
from weighworthy_service.logbook.shift import Shift

State = Literal["supported", "open", "unconfirmed", "in-doubt", "unsupported"]
Crossing = Literal["cannot", "unknown", "could"]
Needs = Literal["nothing", "assessment", "action"]

# The worse is the later.
STATES: Final[tuple[State, ...]] = (
    "supported",
    "open",
    "unconfirmed",
    "in-doubt",
    "unsupported",
)
CROSSINGS: Final[tuple[Crossing, ...]] = ("cannot", "unknown", "could")
NEEDS: Final[tuple[Needs, ...]] = ("nothing", "assessment", "action")

# What an entry that closes results must say, field by field; the form of entries requires it.
ASSESSMENT: Final = (
    ("results", "which results it decides on, by id"),
    ("cause", "what put them in doubt, and what was found to be the reason"),
    (
        "outcome",
        "stands (the value holds), corrected (another takes its place) or withdrawn (none is left)",
    ),
    (
        "reason",
        "why this outcome is right: the evidence, such as the possible shift held against limits",
    ),
    ("by", "the person who decided"),
)


def crossing(result: Result, shifts: Iterable[Shift]) -> Crossing:
    """Whether a shift may have moved a result across a limit: to the other side, either way.

    All of the range of every shift is looked at; a value on a limit is inside. "unknown" where the
    range, the loss or every limit is not known, and the value alone does not cross.
    """
    low, high = (
        None if limit is None else Fraction(limit)
        for limit in (result.lower_limit, result.upper_limit)
    )
    stated = None if result.loss is None else Fraction(result.loss)
    if low is None and high is None:
        stated = None

    def side(loss: Fraction) -> int:
        """-1 below the limits, 0 inside or on one, 1 above."""
        if low is not None and loss < low:
            return -1
        return int(high is not None and loss > high)

    reported = None if stated is None else side(stated)
    found = [_crossing(shift, reported, side) for shift in shifts]
    return max(found, key=CROSSINGS.index, default="unknown")


def _crossing(shift: Shift, reported: int | None, side: Callable[[Fraction], int]) -> Crossing:
    if shift.lower == shift.upper == 0:
        return "cannot"
    if reported is None or shift.corrected is None:
        return "unknown"
    if side(shift.corrected) != reported:
        return "could"
    if shift.corrected_lower is None or shift.corrected_upper is None:
        return "unknown"
    ends = (shift.corrected_lower, shift.corrected_upper)
    return "cannot" if all(side(end) == reported for end in ends) else "could"


def has_limits(result: Result) -> bool:
    """Whether a specification limit is stated."""
    return result.lower_limit is not None or result.upper_limit is not None


def needs(
    result: Result, state: State, crossed: Crossing | None, *, failed: bool, assessed: bool
) -> Needs:
    """What a person still has to do about a result.

    "action": it may stand on the wrong side of a limit, and nothing excludes it: a shift could have
    moved it across, or a check `failed` without telling how far it shifts a result that has limits.
    "assessment": its support is gone all the same, and a person has to say what becomes of it.
    """
    if assessed or state in ("supported", "open"):
        return "nothing"
    unexcluded = crossed == "unknown" and failed and has_limits(result)
    return "action" if crossed == "could" or unexcluded else "assessment"
