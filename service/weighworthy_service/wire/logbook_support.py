"""The JSON form of what is said of results. Never used to write it."""

from typing import Final

from weighworthy_service.wire.containers import Part
from weighworthy_service.wire.fields import Flag, OneOf
from weighworthy_service.wire.logbook import OUTCOMES
from weighworthy_service.wire.logbook_answers import LogbookAnswerForm, because, count, instant
from weighworthy_service.wire.request import said
from weighworthy_service.wire.responses import FindingForm
from weighworthy_service.wire.shown import Said, listed, number, text

STATES: Final = ("supported", "open", "unconfirmed", "in-doubt", "unsupported")
CROSSINGS: Final = ("cannot", "unknown", "could")
NEEDS: Final = ("nothing", "assessment", "action")


class LossShiftForm(Said):
    """What an error that a failed check found would have done to a reported loss."""

    entry = text("Id of the check.")
    criterion = text("Of its answer.")
    fault = text("What the error is read as; each reading has a shift of its own.")
    value = number("Reported less true, in % points; null: not known.")
    expanded_uncertainty = number()
    lower = number("The value less its expanded uncertainty.")
    upper = number()
    unit = text()
    corrected = number("The reported loss without the shift.")
    initial_mass = number("In g, at which it was computed.")
    of_result = Flag(required=True, metadata=said("Whether that is the mass of the result."))
    sentence = text()


class KindSupportForm(Said):
    check = text()
    required = Flag(required=True)
    state = OneOf(STATES, required=True)
    before = text("Id of the check that it rested on when it was measured.", null=True)
    after = text("Id of the first later check that says something of it.", null=True)
    sentence = text()
    because = because()


class AssessedForm(Said):
    entry = text()
    at = instant(null=False)
    by = text(null=True)
    outcome = OneOf(OUTCOMES, required=True)


class ResultSupportForm(Said):
    result = text("Its id.")
    instrument = text()
    at = instant(null=False)
    method = text(null=True)
    loss = number("In %, as reported.")
    initial_mass = number("In g.")
    lower_limit = number()
    upper_limit = number()
    state = OneOf(STATES, required=True, metadata=said("Of the worst kind of check."))
    check = text("That kind; null: the instrument as a whole.", null=True)
    needs = OneOf(
        NEEDS,
        required=True,
        metadata=said("`action`: nothing excludes that it stands on the wrong side of a limit."),
    )
    sentence = text()
    crossing = OneOf(
        CROSSINGS,
        required=True,
        allow_none=True,
        metadata=said("Whether a shift may have moved it across a limit; null: nothing failed."),
    )
    shifts = listed(LossShiftForm, "Of the failed checks, per check the largest first.")
    assessed = Part(
        AssessedForm,
        required=True,
        allow_none=True,
        metadata=said("What a person decided; the state stays what it is."),
    )
    kinds = listed(KindSupportForm)
    because = because()
    findings = listed(FindingForm)


class ResultStatesForm(Said):
    supported = count()
    open = count()
    unconfirmed = count()
    in_doubt = count()
    unsupported = count()


class ResultNeedsForm(Said):
    nothing = count()
    assessment = count()
    action = count()


class SupportSummaryForm(Said):
    results = count("That are answered for.")
    left_out = count("After the moment, or of instruments that are not asked about.")
    states = Part(ResultStatesForm, required=True)
    needs = Part(ResultNeedsForm, required=True)
    assessed = count()
    sentence = text()


class AssessmentPartForm(Said):
    field = text("Of the entry.")
    says = text()


class SupportAnswerForm(LogbookAnswerForm):
    summary = Part(SupportSummaryForm, required=True)
    results = listed(ResultSupportForm, "In the order they were sent.")
    assessment_states = listed(AssessmentPartForm, "What an assessment has to say.")
    findings = listed(FindingForm, "Of assessments that close nothing, and why.")
