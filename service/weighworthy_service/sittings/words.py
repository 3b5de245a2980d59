"""What causes are called in sentences, in the order in which they are told."""

from typing import Final

# Of each cause: a phrase, and why it does not show where a value does not depend on it.
CAUSES: Final = {
    "gain": ("a constant gain error", "a gain that is the same all along cancels in it"),
    "gain-change": (
        "a change of gain during the check",
        "nothing in it compares readings of two times",
    ),
    "zero-change": (
        "a zero that changes with every loading",
        "the zero was read before and after, or cancels",
    ),
    "zero-drift": (
        "a change of zero during this check alone",
        "the zero cancels in it",
    ),
    "common-zero": (
        "a zero that was off alike in both readings",
        "each reading has its own zero",
    ),
    "hot-zero-drift": (
        "a change of zero through heat",
        "it was done cold, or without readings before and after heat",
    ),
    "departure": (
        "a departure from linearity at its load",
        "it is about one load only, or about none",
    ),
    "curvature": (
        "a curve bowed at mid-range",
        "no capacity is stated that the bow could be sized by, or the bow cancels",
    ),
    "hysteresis": (
        "a reading that depends on whether more lay on the pan before",
        "no load was lightened in it",
    ),
    "weight": ("a wrong or dirty weight", "the same weights stand on both sides"),
    "off-centre": ("weights placed off the centre", "nothing was placed anew"),
    "drying": ("the drying itself: heater, time, sample", "nothing was dried in it"),
    "scatter": ("a standard deviation larger than stated", "it is no reading"),
}
# Causes that need not come again: the same check once more tells.
PASSING: Final = ("gain-change", "zero-drift", "off-centre", "scatter")


def phrase(name: str, about: str | None) -> str:
    """The cause in words; `about` is the weight."""
    words = CAUSES[name][0] if name in CAUSES else name
    return f"the weight {about} wrong or dirty" if name == "weight" and about else words
