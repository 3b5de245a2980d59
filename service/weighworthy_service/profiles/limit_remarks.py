"""What is remarkable about one limit on one balance, and about a start window."""

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Final, Literal

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.rehearsal import LossLoads
from weighworthy_service.metrology.instrument import Instrument
from weighworthy_service.metrology.rounding import rounded
from weighworthy_service.profiles.document import Rule
from weighworthy_service.profiles.judgement import SENSIBLE_RATIO, Judgement, nearest_side

# Above this share of good balances that a single check fails, people stop to believe it.
OFTEN: Final = 0.05
# And a false failure that is more likely than not in a year will come.
OFTEN_A_YEAR: Final = 0.5


@dataclass(frozen=True, slots=True)
class Said:
    """A remark without its place."""

    code: str
    severity: Literal["error", "warning", "note"]
    message: str


def limit_remarks(row: Judgement, instrument: Instrument) -> Iterator[Said]:
    """From the worst on; what follows from something worse is not said again."""
    unit, size = row.name.unit, nearest_side(row.interval)
    what = f"{row.name.name} within {_shown(size, unit)}{_at_load(row)}"
    expanded = _shown(Fraction(row.expanded), unit)
    below, above = row.interval.lower, row.interval.upper
    if row.rounding is not None and size < row.rounding:
        yield Said(
            "limit-below-rounding",
            "error",
            f"{what}: the rounding of the readings alone can make {_shown(row.rounding, unit)} "
            f"(d = {_shown(Fraction(instrument.scale_interval), 'g')} over the start load)",
        )
        return
    if (below is not None and below > 0) or (above is not None and above < 0):
        yield Said(
            "limit-excludes-zero", "error", f"{what}: a balance without any error does not pass"
        )
        return
    if not row.attainable:
        takes = f"the guard band takes {_shown(row.guard, unit)} of it"
        none = "no value in steps of the display lies within it"
        yield Said(
            "limit-not-attainable",
            "error",
            f"{what}: {takes if row.guard > row.half else none}, so that no balance can ever pass",
        )
        return
    step, of = _display(row, instrument)
    if step is not None and row.half < Fraction(step):
        yield Said(
            "limit-finer-than-display",
            "warning",
            f"{what} is finer than a step of {of}, {_shown(Fraction(step), unit)}",
        )
    if row.half < Fraction(row.expanded):
        yield Said(
            "uncertainty-exceeds-tolerance",
            "warning",
            f"{what}: the expanded uncertainty is larger, {expanded}",
        )
    elif row.ratio < SENSIBLE_RATIO:
        yield Said(
            "weak-ratio",
            "warning",
            f"{what} is only {float(row.ratio):.2g} times the expanded uncertainty, "
            f"{expanded}; {SENSIBLE_RATIO} times is sensible"
            + _sensible(row.sensible_scale_interval),
        )
    if row.false_rejection.all_sets > OFTEN:
        chance = row.false_rejection.all_sets
        yield Said(
            "good-balances-fail",
            "warning",
            f"{what}: {100 * chance:.0f} % of checks fail a balance that has no error",
        )
    elif row.yearly is not None and row.yearly.chances.all_sets > OFTEN_A_YEAR:
        chance = row.yearly.chances.all_sets
        yield Said(
            "good-balances-fail",
            "warning",
            f"{what}: of the {row.yearly.checks} checks of a year at least one fails a balance "
            f"that has no error, with a chance of {100 * chance:.0f} %",
        )
    for finding in row.findings:
        if finding.code == "weights-too-coarse":
            yield Said(finding.code, "warning", finding.message)


def window_remarks(
    rule: Rule | None, loads: LossLoads, circumstances: Circumstances
) -> Iterator[Said]:
    """Whether the weights make a start load inside the window."""
    window = rule.start_window if rule is not None else None
    if window is None:
        return
    start = circumstances.nominal(loads.initial)
    about = f"{window.target:f} g ± {window.allowance:f} g"
    if abs(Fraction(start) - Fraction(window.target)) > Fraction(window.allowance):
        yield Said(
            "start-window-contradicts-weights",
            "error" if window.otherwise in ("void", "no-pass") else "warning",
            f"the start load {' + '.join(loads.initial)} is {start:f} g and lies outside the start "
            f"window, {about}; for every such check that means: {window.otherwise}",
        )
    capacity = circumstances.instrument.capacity
    if capacity is not None and Fraction(window.target) - Fraction(window.allowance) > capacity:
        yield Said(
            "start-window-above-capacity",
            "error",
            f"the start window, {about}, lies above the capacity, {capacity:f} g",
        )


def _display(row: Judgement, instrument: Instrument) -> tuple[Decimal | None, str]:
    """The step in which a person sees the value, and of what."""
    if row.name.unit == "%":
        return instrument.loss_interval, "the displayed loss"
    return instrument.scale_interval, "the indication"


def _sensible(step: Decimal | None) -> str:
    return "" if step is None else f", as from d = {_shown(Fraction(step), 'g')} downwards"


def _at_load(row: Judgement) -> str:
    load = "" if row.criterion.load is None else f" at {row.criterion.load:f} g"
    return load if row.stage is None else f"{load}, {row.stage}"


def _shown(value: Fraction, unit: str) -> str:
    """Small masses in mg, as they are talked of."""
    if unit == "g" and abs(value) < Fraction(1, 10):
        value, unit = 1000 * value, "mg"
    return f"{rounded(value, 4):f} {unit}"
