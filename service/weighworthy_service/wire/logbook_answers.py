"""The JSON form of what the addresses of the logbook say. Never used to write it."""

from typing import Any, Final

from weighworthy_service.wire.containers import Part
from weighworthy_service.wire.fields import Flag, OneOf
from weighworthy_service.wire.request import said
from weighworthy_service.wire.responses import EngineForm, FindingForm, ProfileIdentityForm
from weighworthy_service.wire.shown import Said, Shown, listed, text

_COUNT: Final = {"type": "integer", "minimum": 0}
STATES: Final = ("in-service", "check-needed", "out-of-service")
KIND_STATES: Final = (
    "in-force",
    "due",
    "overdue",
    "asked",
    "never",
    "failed",
    "failed-void",
)
STEPS: Final = (
    "none",
    "check",
    "repeat",
    "adjust",
    "service",
    "out-of-service",
    "back-in-service",
    "decide",
)


def count(sentence: str = "", *, null: bool = False) -> Shown:
    return Shown(_COUNT, null=null, metadata=said(sentence) if sentence else {})


def instant(sentence: str = "", *, null: bool = True) -> Shown:
    return Shown(
        {"type": "string", "format": "date-time"},
        null=null,
        metadata=said(sentence) if sentence else {},
    )


class BecauseForm(Said):
    """What a conclusion rests on."""

    entry = text("Id of an entry; null: a rule.", null=True)
    rule = text("Place of a rule, like `id@revision /rules/3/schedule`.", null=True)
    sentence = text()


def because(sentence: str = "Enough to come to it again without the rest of the log.") -> Any:
    return listed(BecauseForm, sentence)


class JudgedByForm(Said):
    profile = text("As `id@revision`.")
    checks = count()


class EntriesForm(Said):
    sent = count()
    used = count("Not after the moment; one that was sent twice counts once.")
    later = count("After the moment: left out.")
    of_others = count("Of instruments that are not asked about: left out.")
    judged_anew = count("Checks whose request was judged now.")
    trusted = count("Checks whose earlier answer was taken at its word.")
    profiles = listed(JudgedByForm, "What checks were judged by, as far as it is told.")


class LogbookAnswerForm(Said):
    """What all answers of the logbook say."""

    at = instant("The moment that was asked about.", null=False)
    profile = Part(ProfileIdentityForm, required=True, metadata=said("What decided."))
    engine = Part(EngineForm, required=True)
    entries = Part(EntriesForm, required=True)


class NextStepForm(Said):
    step = OneOf(
        STEPS,
        required=True,
        metadata=said("`decide`: no rule says; the responsible person decides."),
    )
    check = text("The kind of check it concerns.", null=True)
    by = instant("The last moment; null: now, or none is known.")
    tries_done = count("On this step of the ladder.", null=True)
    tries_allowed = count(null=True)
    sentence = text()
    because = because()


class KindStatusForm(Said):
    check = text()
    required = Flag(required=True, metadata=said("false: no schedule asks for it, but it failed."))
    state = OneOf(KIND_STATES, required=True)
    since = instant("Begin of the state; null: it was never otherwise.")
    due_at = instant("From when the next check is due.")
    overdue_at = instant("After which it is overdue.")
    last_passed = text("Id of the last check that let the balance be used.", null=True)
    next_step = Part(NextStepForm, required=True)
    because = because()


class InstrumentStatusForm(Said):
    instrument = text()
    model = text(null=True)
    site = text(null=True)
    state = OneOf(STATES, required=True)
    usable = Flag(required=True, metadata=said("Whether it may be used: in service, that is."))
    taken_out = text("Id of the entry that took it out of service and still holds.", null=True)
    since = instant()
    until = instant("Of use, if nothing is entered; null: only an entry changes the state.")
    next_step = Part(NextStepForm, required=True)
    because = because()
    checks = listed(KindStatusForm, "What is required, in the order of the kinds.")
    findings = listed(FindingForm)


class StatusSummaryForm(Said):
    instruments = count()
    in_service = count()
    check_needed = count()
    out_of_service = count()
    sentence = text()


class StatusAnswerForm(LogbookAnswerForm):
    summary = Part(StatusSummaryForm, required=True)
    instruments = listed(InstrumentStatusForm, "By id.")
