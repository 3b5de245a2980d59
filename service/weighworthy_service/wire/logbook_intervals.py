"""The JSON form of advice on intervals. Never used to write it."""

from typing import Final

from weighworthy_service.wire.containers import Part
from weighworthy_service.wire.fields import OneOf, Quantity
from weighworthy_service.wire.logbook import LogbookForm
from weighworthy_service.wire.logbook_answers import LogbookAnswerForm, because, count
from weighworthy_service.wire.request import said
from weighworthy_service.wire.shown import Said, Shown, listed, number, text

WORDS: Final = ("longer", "keep", "shorter", "cannot-tell")
USUAL_RELIABILITY: Final = 95
_TEXTS: Final = {"type": "array", "items": {"type": "string"}}


class IntervalsLogbookForm(LogbookForm):
    """A logbook, and how reliable balances are wanted to be."""

    reliability = Quantity(
        "share",
        "positive",
        bounds=(50, 99),
        metadata=said(
            "Wanted share of balances that are still in tolerance at the end of an interval. "
            f"Absent: {USUAL_RELIABILITY} %."
        ),
    )


class BoundsForm(Said):
    """An estimate and its confidence interval of 95 %; null in the place of infinity."""

    value = number()
    low = number()
    high = number()


class IntervalForm(Said):
    check = text()
    instruments = Shown(_TEXTS, metadata=said("One, or all that were taken together."))
    rules = Shown(_TEXTS, metadata=said("Places of the schedules."))
    advice = OneOf(WORDS, required=True)
    current = number("Present interval in h; null: only events ask for the check.")
    proposed = number("In h; null: none can be told.")
    trials = count("Checks that tell what became of a balance that was in tolerance before.")
    failures = count("Of these, that found it out of tolerance.")
    share = Part(
        BoundsForm,
        required=True,
        allow_none=True,
        metadata=said("That were found in tolerance (Clopper and Pearson 1934)."),
    )
    reliability = Part(
        BoundsForm,
        required=True,
        allow_none=True,
        metadata=said("At the end of the present interval, at a constant rate of failure."),
    )
    keeps = Part(
        BoundsForm,
        required=True,
        allow_none=True,
        metadata=said("How many h the wanted reliability is kept."),
    )
    alike = number("Chance of what was seen if one rate held for all of a group.")
    reasons = Shown(_TEXTS, metadata=said("Sentences, with the figures."))
    because = because()


class IntervalsSummaryForm(Said):
    intervals = count()
    longer = count()
    keep = count()
    shorter = count()
    cannot_tell = count()
    sentence = text()


class IntervalsAnswerForm(LogbookAnswerForm):
    summary = Part(IntervalsSummaryForm, required=True)
    reliability = number("Wanted, as a ratio.", null=False)
    intervals = listed(IntervalForm, "By instrument, then kind of check.")
    together = listed(IntervalForm, "Instruments of one model under the same schedules.")
