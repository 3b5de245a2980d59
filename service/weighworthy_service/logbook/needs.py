"""What is left to do about a result: whether it may stand on the wrong side of its limits, and who
has to look at it."""

from collections.abc import Iterable
from fractions import Fraction
from types import MappingProxyType
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

# Of an entry that closes results, field by field; the form of entries requires the same.
ASSESSMENT: Final = MappingProxyType(
    {
        "results": "which results it decides on, by id",
        "cause": "what put them in doubt, and what was found to be the reason",
        "outcome": "stands (the reported value holds), corrected (another value is reported in its "
        "place) or withdrawn (no value is reported any more)",
        "reason": "why this outcome is right: the evidence, such as the possible shift held "
        "against the limits",
        "by": "the person who decided",
    }
)


def crossing(result: Result, shifts: Iterable[Shift]) -> Crossing:
    """Whether a shift may have moved a result across a limit: to the other side, either way.

    All of the range of every shift is looked at; a value on a limit is inside. "unknown" where the
    range, the loss or every limit is not known, and the value alone does not cross.
    """
    found = [_crossing(result, shift) for shift in shifts]
    return max(found, key=CROSSINGS.index, default="unknown")


def _crossing(result: Result, shift: Shift) -> Crossing:
    if shift.lower == shift.upper == 0:
        return "cannot"
    if result.loss is None or not has_limits(result) or shift.corrected is None:
        return "unknown"
    reported = _side(Fraction(result.loss), result)
    if _side(shift.corrected, result) != reported:
        return "could"
    if shift.corrected_lower is None or shift.corrected_upper is None:
        return "unknown"
    ends = (shift.corrected_lower, shift.corrected_upper)
    return "cannot" if all(_side(end, result) == reported for end in ends) else "could"


def has_limits(result: Result) -> bool:
    """Whether a specification limit is stated."""
    return result.lower_limit is not None or result.upper_limit is not None


def _side(loss: Fraction, result: Result) -> int:
    """-1 below the limits, 0 inside or on one, 1 above."""
    if result.lower_limit is not None and loss < Fraction(result.lower_limit):
        return -1
    return int(result.upper_limit is not None and loss > Fraction(result.upper_limit))


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
