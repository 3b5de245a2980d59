"""What a reader must know of blank runs besides the verdict."""

from collections.abc import Iterator, Sequence
from decimal import Decimal
from typing import Final

from weighworthy_service.checks.blank_run.check import BlankRunCheck
from weighworthy_service.checks.blank_run.reading import RunRead, Trend
from weighworthy_service.checks.outcome import Finding
from weighworthy_service.checks.remarks import input_remarks
from weighworthy_service.checks.terms import Terms
from weighworthy_service.checks.validity import (
    Observed,
    count_findings,
    reading_findings,
    sitting_findings,
)
from weighworthy_service.json_document import pointer
from weighworthy_service.metrology.budget import t_quantile
from weighworthy_service.metrology.quantity import EXACT

# °C; common practice, no source: below it no chamber was heated.
HOT: Final = Decimal(40)
# Of t, two-sided 95 %.
STANDS_OUT: Final = 0.975


def remarks(check: BlankRunCheck, runs: Sequence[RunRead], terms: Terms) -> list[Finding]:
    """All findings but those on the judged figures."""
    here = check.circumstances
    observed = [
        Observed(("runs", i, name), value, ("runs", i), run.stable)
        for i, run in enumerate(check.runs)
        for name, value in (("initial", run.initial), ("final", run.final))
    ]
    return [
        *reading_findings(observed, here, terms),
        *sitting_findings(here, (), terms),
        *count_findings(len(runs), terms.validity.runs, "runs", "/runs"),
        *input_remarks(here, (), built_up=False, buoyancy=False),
        *_of_heat(check),
        *_of_time(check),
        *_of_the_series(check),
        *_of_the_pan(check),
        *_of_the_first_run(check, runs),
        *_of_what_is_declared(check, runs),
        *(finding for run in runs for finding in _of_the_end(run, here.instrument.scale_interval)),
    ]


def _of_heat(check: BlankRunCheck) -> Iterator[Finding]:
    for i, run in enumerate(check.runs):
        place = pointer("runs", i, "chamber_temperature")
        if run.chamber_temperature is None:
            message = "no chamber temperature is stated: nothing shows that this run was hot"
            yield Finding("heat-not-stated", "warning", message, place)
        elif run.chamber_temperature < HOT:
            message = f"the chamber stayed below {HOT} °C: this run shows nothing of what heat does"
            yield Finding("run-not-hot", "warning", message, place)


def _of_time(check: BlankRunCheck) -> Iterator[Finding]:
    usual = check.usual_duration
    if usual is None:
        message = "without the usual duration of a drying nobody can tell if the runs took as long"
        yield Finding("usual-duration-not-stated", "note", message, "/usual_duration")
        return
    for i, run in enumerate(check.runs):
        place = pointer("runs", i, "duration")
        if run.duration is None:
            message = "no duration is stated: nothing shows that this run took as long as a drying"
            yield Finding("duration-not-stated", "warning", message, place)
        elif run.duration < usual:
            message = "this run was shorter than a usual drying, whose zero may change by more"
            yield Finding("run-short", "warning", message, place)


def _of_the_series(check: BlankRunCheck) -> Iterator[Finding]:
    for i, run in enumerate(check.runs):
        series = run.series or ()
        place = pointer("runs", i, "series")
        begins_off = any(one.at == 0 and one.indication != run.initial for one in series)
        ends_off = any(one.at == run.duration and one.indication != run.final for one in series)
        if begins_off or ends_off:
            message = (
                "the series begins or ends on another indication than the run, which is judged"
            )
            yield Finding("series-disagrees", "warning", message, place)
        elif run.duration is not None and any(one.at > run.duration for one in series):
            message = "the series goes on after the end of the run, whose two readings are judged"
            yield Finding("series-disagrees", "warning", message, place)


def _of_the_pan(check: BlankRunCheck) -> Iterator[Finding]:
    if check.pan is None:
        message = "whether the pan was empty, or held something inert, is not stated"
        yield Finding("pan-not-stated", "note", message, "/pan")
    elif check.pan == "inert" and check.on_pan is None:
        message = "what lay on the pan is not stated: whether it loses nothing cannot be told"
        yield Finding("pan-not-stated", "note", message, "/on_pan")


def _of_the_first_run(check: BlankRunCheck, runs: Sequence[RunRead]) -> Iterator[Finding]:
    """A pan that was damp, which dries in the first run alone."""
    first, *others = runs
    if not others:
        return
    least = min(run.change for run in others)
    # The rounding of four readings hides up to two steps.
    hidden = EXACT.multiply(Decimal(2), check.circumstances.instrument.scale_interval)
    if first.change < EXACT.subtract(least, hidden):
        message = (
            "the first run falls by more than all that follow, and more than rounding explains: "
            "the pan or what lies on it may not have been dry"
        )
        yield Finding("first-run-falls-more", "warning", message, pointer("runs", 0, "final"))


def _of_what_is_declared(check: BlankRunCheck, runs: Sequence[RunRead]) -> Iterator[Finding]:
    instrument = check.circumstances.instrument
    corrected, bound = instrument.hot_zero_correction, instrument.hot_zero_drift
    shift = Decimal(0)
    if corrected is not None:
        shift = corrected.value
        message = "changes are told as they were read: hot_zero_correction is not taken out of them"
        place = "/instrument/hot_zero_correction"
        yield Finding("correction-not-applied", "note", message, place)
    if bound is None:
        return
    off = max(EXACT.subtract(run.change, shift).copy_abs() for run in runs)
    if off > bound:
        message = (
            "a run changed by more than the bound that is declared of the balance: uncertainties "
            "that rest on it are too small"
        )
        yield Finding("hot-zero-drift-exceeded", "warning", message, "/instrument/hot_zero_drift")


def _of_the_end(run: RunRead, step: Decimal) -> Iterator[Finding]:
    late = run.trend_at_end
    if late is not None and goes_on(late, step):
        message = (
            "the indication still drifts in the later half of the series: a longer drying would "
            "change by more"
        )
        yield Finding("still-drifting", "warning", message, pointer("runs", run.index, "series"))


def goes_on(late: Trend, step: Decimal) -> bool:
    """Whether a drift is both beyond its own uncertainty and more than a step of the display."""
    assert late.degrees is not None  # noqa: S101  five readings leave three
    rate = abs(late.slope)
    least = t_quantile(STANDS_OUT, late.degrees) * late.uncertainty
    return rate * late.span > step and rate > least
