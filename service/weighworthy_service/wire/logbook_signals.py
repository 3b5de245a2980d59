"""The JSON form of signals across instruments. Never used to write it."""

from typing import Final

from weighworthy_service.metrology.limits import CRITERION_UNITS
from weighworthy_service.wire.containers import Part
from weighworthy_service.wire.fields import Count, Flag, OneOf
from weighworthy_service.wire.logbook import LogbookForm
from weighworthy_service.wire.logbook_answers import LogbookAnswerForm, count, instant
from weighworthy_service.wire.request import said
from weighworthy_service.wire.shown import Said, Shown, listed, number, text

CONCLUSIONS: Final = ("the-weights", "not-alike", "one-balance", "no-common-shift", "too-few")
USUAL_DUE_WITHIN: Final = 30
_TEXTS: Final = {"type": "array", "items": {"type": "string"}}
_ADJUSTED: Final = "For all that was looked at (Holm 1979)."


class SignalsLogbookForm(LogbookForm):
    """A logbook, and how early a weight is told that will be due."""

    due_within = Count(
        0, 3650, metadata=said(f"Days before the due date of a weight. Absent: {USUAL_DUE_WITHIN}.")
    )


class BalanceShiftForm(Said):
    instrument = text()
    change = text("Id of the entry that says that its weights changed.")
    shift = number("Mean error as found after, less before.", null=False)
    standard_uncertainty = number(null=False)
    before = count("Checks before the change that were compared.")
    after = count()
    entries = Shown(_TEXTS)


class WeightsSignalForm(Said):
    """Whether balances moved alike when their weights were changed."""

    conclusion = OneOf(CONCLUSIONS, required=True)
    check = text()
    criterion = text()
    unit = OneOf(CRITERION_UNITS, required=True)
    load = number("Nominal, in g.")  # type: ignore[assignment]
    first_change = text("Id of an entry.")
    shift = number("Weighted mean of all; null: too few balances.")
    standard_uncertainty = number()
    chance = number("Of so large a mean if nothing moved.")
    adjusted = number(_ADJUSTED)
    chance_scatter = number("Of the scatter about the mean if all moved alike.")
    chance_signs = number("Of the signs if each were as likely.")
    chance_without_any = number("Of the mean without the balance that matters most.")
    balances = listed(BalanceShiftForm)
    sentence = text()


class VoidShareForm(Said):
    """Void checks of one group beside those of all others; first checks of a day only."""

    side = OneOf(("instrument", "person", "weekday"), required=True)
    group = text()
    void = count()
    checks = count()
    void_others = count()
    checks_others = count()
    would_have_failed = count("Of the void ones.")
    chance = number("Of at least so many (Fisher, one-sided).", null=False)
    adjusted = number(_ADJUSTED, null=False)
    stands_out = Flag(required=True, metadata=said("Whether that is below 5 %."))
    entries = Shown(_TEXTS)
    sentence = text()


class EqualReadingsForm(Said):
    """Checks with the very same readings, where scatter and scale interval make that seldom."""

    what = OneOf(("run", "neighbours"), required=True)
    instrument = text()
    check = text()
    person = text("null: whoever did them.", null=True)
    equal = count()
    of = count("Checks in all; of neighbours, pairs.")
    chance_two = number("That two checks are equal, at most.", null=False)
    chance = number(null=False)
    adjusted = number(_ADJUSTED, null=False)
    stands_out = Flag(required=True)
    equal_others = count("Of pairs of other persons.", null=True)
    pairs_others = count(null=True)
    entries = Shown(_TEXTS)
    sentence = text()


class DueWeightForm(Said):
    """A weight in use near its due date, or past it."""

    state = OneOf(("past-due", "due-soon"), required=True)
    weight = text()
    due_on = Shown({"type": "string", "format": "date"})
    days_left = Shown({"type": "integer"}, metadata=said("Below 0 past it."))
    instruments = Shown(_TEXTS)
    last_used = instant(null=False)
    entries = Shown(_TEXTS)
    sentence = text()


class SignalsSummaryForm(Said):
    signals = count("That stand out.")
    sentence = text()
    sentences = Shown(_TEXTS, metadata=said("One for each of these."))


class SignalsAnswerForm(LogbookAnswerForm):
    summary = Part(SignalsSummaryForm, required=True)
    weights = listed(WeightsSignalForm, "In order of time.")
    void_shares = listed(VoidShareForm, "All that were looked at, the smallest chance first.")
    equal_readings = listed(EqualReadingsForm, "All that were looked at, the smallest first.")
    due_weights = listed(DueWeightForm, "By due date.")
