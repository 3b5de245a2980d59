"""The JSON form of what is said of drift. Never used to write it."""

from typing import Final

from weighworthy_service.metrology.limits import CRITERION_UNITS
from weighworthy_service.wire.containers import ListOf, Part
from weighworthy_service.wire.fields import Count, Flag, OneOf
from weighworthy_service.wire.logbook import LogbookForm
from weighworthy_service.wire.logbook_answers import LogbookAnswerForm, count, instant
from weighworthy_service.wire.request import said
from weighworthy_service.wire.responses import FindingForm
from weighworthy_service.wire.shown import Said, Shown, listed, number, text

LEAST_BASELINE: Final = 12
USUAL_BASELINE: Final = 20
USUAL_RULES: Final = (1, 2)


class DriftLogbookForm(LogbookForm):
    """A logbook, and how its series are looked at."""

    run_rules = ListOf(
        Count(1, 8),
        maximum=8,
        metadata=said("Of Nelson's eight, by number. Absent: 1 and 2.", examples=[[1, 2, 5]]),
    )
    baseline = Count(
        LEAST_BASELINE,
        1000,
        metadata=said(f"First points that control limits rest on. Absent: {USUAL_BASELINE}."),
    )


class CutForm(Said):
    """Where a series begins or ends."""

    entry = text()
    at = instant(null=False)
    why = text("Kind of the entry, `adjusted-in-check` or `other-weights`.")


class DriftPointForm(Said):
    entry = text()
    at = instant(null=False)
    value = number(null=False)
    expanded_uncertainty = number()
    lower_limit = number()
    upper_limit = number()


class RateForm(Said):
    """Change a day, with its confidence interval."""

    value = number(null=False)
    low = number(null=False)
    high = number(null=False)
    differs_from_zero = Flag(required=True, metadata=said("Whether the interval leaves out zero."))


class SlopeForm(Said):
    points = count()
    span_days = number(null=False)
    confidence = number(null=False)
    least_squares = Part(RateForm, required=True, allow_none=True)
    pairs = Part(
        RateForm,
        required=True,
        allow_none=True,
        metadata=said("Median of all slopes between two points (Theil 1950, Sen 1968)."),
    )


class ReachForm(Said):
    """When a limit is reached; null: not within ten years of the last point."""

    limit = number(null=False)
    estimate = instant()
    earliest = instant("Where the confidence band of the line first meets the limit.")
    latest = instant()


class OutlookForm(Said):
    upper = Part(ReachForm, required=True, allow_none=True)
    lower = Part(ReachForm, required=True, allow_none=True)
    overlaps = Flag(
        required=True,
        allow_none=True,
        metadata=said("Whether the last value with its uncertainty extends beyond a limit."),
    )


def _numbers(sentence: str) -> Shown:
    keywords = {"type": "array", "items": {"type": "number"}}
    return Shown(keywords, metadata=said(sentence))


class AveragesForm(Said):
    values = _numbers("Exponentially weighted moving averages after the baseline, λ 0.2.")
    lower = number(null=False)
    upper = number(null=False)


class SumsForm(Said):
    high = _numbers("Cumulative sums after the baseline, in σ, k ½.")
    low = _numbers("To the other side.")
    limit = number(null=False)


class ChartTestForm(Said):
    test = text()
    words = text()
    false_alarms = number(
        "A point, for independent normal values about an exactly known centre and σ.", null=False
    )


class ChartSignalForm(Said):
    test = text()
    entry = text("Where it spoke.")
    entries = Shown(
        {"type": "array", "items": {"type": "string"}}, metadata=said("On the ground of these.")
    )
    lasts = count("Points in a row at which it spoke.")


class ChartForm(Said):
    """Individuals and moving ranges, moving averages, cumulative sums."""

    baseline = count("Points that the limits rest on.")
    step = number("Of the display, as the values show it: what is equal to the centre within it.")
    centre = number(null=False)
    sigma = number("Mean moving range over d2 = 1.128.", null=False)
    lower = number(null=False)
    upper = number(null=False)
    mean_moving_range = number(null=False)
    upper_moving_range = number(null=False)
    averages = Part(AveragesForm, required=True, allow_none=True)
    sums = Part(SumsForm, required=True, allow_none=True)
    tests = listed(ChartTestForm, "That the series went through.")
    signals = listed(ChartSignalForm)


class DriftSeriesForm(Said):
    """Errors as found that belong together, between two cuts."""

    instrument = text()
    check = text()
    criterion = text()
    unit = OneOf(CRITERION_UNITS, required=True, metadata=said("Of values, limits and rates."))
    load = number("Nominal, in g.")  # type: ignore[assignment]
    directions = text("Of the readings that a value is the mean of.", null=True)
    expected_loss = number("Of a simulated loss, in %.")
    began = Part(CutForm, required=True, allow_none=True)
    ended = Part(CutForm, required=True, allow_none=True)
    points = listed(DriftPointForm)
    void = count("Checks of the kind in between that give no point; `left_out` names them.")
    without_value = count("Valid ones that say no error as found.")
    slope = Part(SlopeForm, required=True)
    outlook = Part(OutlookForm, required=True, allow_none=True)
    chart = Part(ChartForm, required=True, allow_none=True)
    findings = listed(FindingForm)


class DriftSummaryForm(Said):
    instruments = count()
    series = count()
    drifting = count("Where the interval of the slope leaves out zero.")
    with_signals = count()
    sentence = text()


class LeftOutForm(Said):
    instrument = text()
    void = Shown({"type": "array", "items": {"type": "string"}})
    without_value = Shown({"type": "array", "items": {"type": "string"}})


class DriftAnswerForm(LogbookAnswerForm):
    summary = Part(DriftSummaryForm, required=True)
    series = listed(DriftSeriesForm, "By instrument, check, criterion and load, then time.")
    left_out = listed(LeftOutForm, "Checks that are in no series.")
