"""What is remarkable about one limit on one balance, and about a start window."""

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Final, Literal

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.rehearsal import Load
from weighworthy_service.metrology.instrument import Instrument
from weighworthy_service.metrology.rounding import rounded
from weighworthy_service.profiles.chances import Chances
from weighworthy_service.profiles.document import Rule
from weighworthy_service.profiles.judgement import SENSIBLE_RATIO, Judgement, nearest_side

# Above this share of good balances that a single check fails, people stop to believe it.
OFTEN: Final = 0.05
# And a false failure that is more likely than not in a year will come.
OFTEN_A_YEAR: Final = 0.5

_NEVER: Final = ", and every such check is then void"


@dataclass(frozen=True, slots=True)
class Said:
    """A remark without its place."""

    code: str
    severity: Literal["error", "warning", "note"]
    message: str


def limit_remarks(row: Judgement, instrument: Instrument) -> Iterator[Said]:
    """From the worst on; what follows from something worse is not said again."""
    unit, size = row.name.unit, nearest_side(row.interval)
    what = f"{row.name.name} {_limit(row)}{_at_load(row)}"
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
        yield Said("limit-not-attainable", "error", f"{what}: {_unattainable(row)}")
        return
    step, of = _display(row, instrument)
    if step is not None and row.half < Fraction(step):
        yield Said(
            "limit-finer-than-display",
            "warning",
            f"{what} is finer than a step of {of}, {_shown(Fraction(step), unit)}",
        )
    spoils = {f.code for f in row.findings if f.code in row.void_by}
    if row.half < Fraction(row.expanded):
        code = "uncertainty-exceeds-tolerance"
        void = code in spoils
        yield Said(
            code,
            "error" if void else "warning",
            f"{what}: the expanded uncertainty is larger, {expanded}{_NEVER if void else ''}",
        )
    elif row.ratio < SENSIBLE_RATIO:
        yield Said(
            "weak-ratio",
            "warning",
            f"{what} is only {float(row.ratio):.2g} times the expanded uncertainty, "
            f"{expanded}; {SENSIBLE_RATIO} times is sensible"
            + _sensible(row.sensible_scale_interval),
        )
    yield from _failing(row, what)
    for finding in row.findings:
        if finding.code == "weights-too-coarse":
            void = finding.code in spoils
            said = finding.message.removeprefix(f"{row.criterion.key}: ")
            yield Said(
                finding.code,
                "error" if void else "warning",
                f"{what}: {said}{_NEVER if void else ''}",
            )


def _failing(row: Judgement, what: str) -> Iterator[Said]:
    """Whether balances in order fail too often to be believed."""
    if row.false_rejection is None:
        return
    if row.false_rejection.all_sets > OFTEN:
        often = f"{what}: {_share(row.false_rejection)} of checks fail a balance that has no error"
        yield Said("good-balances-fail", "warning", often + _sets(row.false_rejection))
    elif row.yearly is not None and row.yearly.chances.all_sets > OFTEN_A_YEAR:
        yield Said(
            "good-balances-fail",
            "warning",
            f"{what}: of the {row.yearly.checks} checks of a year at least one fails a balance "
            f"that has no error, with a chance of {_share(row.yearly.chances)}"
            + _sets(row.yearly.chances),
        )


def _share(chances: Chances) -> str:
    return _percent(chances.all_sets)


def _sets(chances: Chances) -> str:
    """For which weights a share holds, where that makes a difference."""
    exactly = _percent(chances.one_set)
    if exactly == _percent(chances.all_sets):
        return ""
    return f", over all sets of weights of this kind; with weights exactly as stated, {exactly}"


def _percent(chance: float) -> str:
    if 0 < chance < 0.0001:
        return "< 0.01 %"
    if 0.995 <= chance < 1:
        return "over 99 %"
    return f"{100 * chance:.2g} %" if chance < 0.1 else f"{100 * chance:.0f} %"


def window_remarks(rule: Rule | None, load: Load, circumstances: Circumstances) -> Iterator[Said]:
    """Whether the weights make a start load inside the window."""
    window = rule.start_window if rule is not None else None
    if window is None:
        return
    start = circumstances.nominal(load)
    about = f"{window.target:f} g ± {window.allowance:f} g"
    if abs(Fraction(start) - Fraction(window.target)) > Fraction(window.allowance):
        yield Said(
            "start-window-contradicts-weights",
            "error" if window.otherwise in ("void", "no-pass") else "warning",
            f"the start load {' + '.join(load)} is {start:f} g and lies outside the start "
            f"window, {about}; for every such check that means: {window.otherwise}",
        )
    capacity = circumstances.instrument.capacity
    if capacity is not None and Fraction(window.target) - Fraction(window.allowance) > capacity:
        yield Said(
            "start-window-above-capacity",
            "error",
            f"the start window, {about}, lies above the capacity, {capacity:f} g",
        )


def _limit(row: Judgement) -> str:
    unit, below, above = row.name.unit, row.interval.lower, row.interval.upper
    if below is None:
        return f"at most {_shown(above or Fraction(0), unit)}"
    if above is None:
        return f"at least {_shown(below, unit)}"
    if below == -above:
        return f"within {_shown(above, unit)}"
    half = _shown(row.half, unit)
    return f"from {_shown(below, unit)} to {_shown(above, unit)} ({half} about its middle)"


def _unattainable(row: Judgement) -> str:
    """Why no balance without error can be shown to keep a limit that does not exclude it."""
    unit, guard = row.name.unit, _shown(row.guard, row.name.unit)
    if row.guard > row.half:
        return f"the guard band takes {guard} of it, so that no balance can ever pass"
    if row.guard > nearest_side(row.interval):
        near = _shown(nearest_side(row.interval), unit)
        return (
            f"the guard band, {guard}, takes all of the nearer side, {near}, so that no balance "
            "without error can pass"
        )
    return "no value in steps of the display lies within it, so that no balance can ever pass"


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
