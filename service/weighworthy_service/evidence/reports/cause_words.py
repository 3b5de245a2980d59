"""What causes of a failed value are called on paper, and what is known of them."""

from typing import Final

from weighworthy_service.checks.pages import marked

CAUSES: Final = {
    "gain": marked("Constant gain error (relative)"),
    "gain-change": marked("Change of gain during the check (relative)"),
    "zero-change": marked("Change of zero with every loading"),
    "zero-drift": marked("Change of zero during this check alone"),
    "common-zero": marked("Zero off alike in both readings"),
    "hot-zero-drift": marked("Change of zero through heat"),
    "departure": marked("Departure from linearity"),
    "curvature": marked("Bow of the curve at mid-range"),
    "hysteresis": marked("Hysteresis after a heavier load"),
    "weight": marked("Wrong or dirty weight"),
    "off-centre": marked("Placed off the centre (relative to the load)"),
    "scatter": marked("Scatter larger than stated"),
    "drying": marked("The drying itself: heater, time, sample"),
}
STATES: Final = {
    "possible": marked("possible"),
    "not-alone": marked("only together with another"),
    "contradicted": marked("ruled out"),
}
HOW: Final = {
    "again": marked("the same once more"),
    "other-weights": marked("the same with other weights"),
}
QUANTITIES: Final = {
    "error": marked("Error"),
    "departure": marked("Departure from linearity"),
}
