"""The JSON form of a logbook: what all its addresses are sent."""

from collections.abc import Iterable
from typing import Any, Final

from weighworthy_service.wire.card import toml_field
from weighworthy_service.wire.coded import nearest, refused
from weighworthy_service.wire.containers import AnyObject, ListOf, Part
from weighworthy_service.wire.fields import (
    Date,
    Flag,
    Instant,
    OneOf,
    Quantity,
    Strict,
    Text,
)
from weighworthy_service.wire.form import Form
from weighworthy_service.wire.request import InstrumentForm, ProfileReference, said
from weighworthy_service.wire.shown import VERDICTS

MAX_INSTRUMENTS: Final = 2000
MAX_RESULTS: Final = 20_000
ENTRY_KINDS: Final = (
    "check",
    "adjustment",
    "move",
    "power-off",
    "service",
    "weights-replaced",
    "cleaning",
    "out-of-service",
    "back-in-service",
    "assessment",
)
OUTCOMES: Final = ("stands", "corrected", "withdrawn")
DAYS: Final = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
_CLOCK: Final = "([01][0-9]|2[0-3]):[0-5][0-9]"


class TrustedAnswer(Strict[dict[str, Any]]):
    """An earlier answer, of which only what the logbook needs is looked at."""

    wanted = "an earlier answer, an object,"

    def __init__(self, checks: Iterable[str], **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._checks = tuple(checks)

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> dict[str, Any]:
        return self.read(value)

    def read(self, value: Any) -> dict[str, Any]:
        """The answer, looked at. Raises: ValidationError."""
        if not isinstance(value, dict):
            raise self.make_error("invalid")
        check = value.get("check")
        if check not in self._checks:
            hint = nearest(check, self._checks) if isinstance(check, str) else ""
            known = ", ".join(self._checks)
            raise refused("not-one-of", f"its check must be one of: {known}{hint}")
        for name in ("verdict", "verdict_as_found", "usable"):
            if name not in value:
                raise refused(
                    "required", f"it has no {name}: send answers as the service gave them"
                )
        for name in ("verdict", "verdict_as_found", "verdict_as_left", "verdict_if_valid"):
            said_there = value.get(name)
            if said_there is not None and said_there not in VERDICTS:
                known = ", ".join(VERDICTS)
                raise refused("not-one-of", f"its {name} must be null or one of: {known}")
        if not (value["usable"] is None or isinstance(value["usable"], bool)):
            raise refused("wrong-type", "its usable must be true, false or null")
        if value["usable"] and value["verdict"] in (None, "void", "fail"):
            raise refused(
                "contradiction", f"its verdict is {value['verdict']}, which lets nothing be used"
            )
        if not (value.get("profile") is None or isinstance(value["profile"], dict)):
            raise refused("wrong-type", "its profile must be an object with id and revision")
        criteria, results = value.get("criteria"), value.get("results")
        if not (criteria is None or _objects(criteria)):
            raise refused("wrong-type", "its criteria must be a list of objects")
        if not (results is None or isinstance(results, dict)):
            raise refused("wrong-type", "its results must be an object")
        return value

    def keywords(self) -> dict[str, Any]:
        verdict = {"enum": [*VERDICTS, None]}
        return {
            "type": "object",
            "properties": {
                "check": {"type": "string", "enum": list(self._checks)},
                "verdict": verdict,
                "verdict_as_found": verdict,
                "verdict_as_left": verdict,
                "verdict_if_valid": verdict,
                "usable": {"type": ["boolean", "null"]},
                "criteria": {"type": ["array", "null"], "items": {"type": "object"}},
                "results": {"type": ["object", "null"]},
                "profile": {"type": ["object", "null"]},
            },
            "required": ["check", "verdict", "verdict_as_found", "usable"],
        }


def _objects(value: Any) -> bool:
    return isinstance(value, list) and all(isinstance(one, dict) for one in value)


class LogbookInstrumentForm(InstrumentForm):
    """As in a check request, with the methods it is used for. Loads to a dict."""

    builds = dict  # type: ignore[assignment]  # a logbook asks less of a balance than a check

    id = Text(required=True)
    scale_interval = Quantity("mass", "positive", metadata=said("d; not needed here."))
    methods = ListOf(
        Text(),
        maximum=50,
        metadata=said("What is required under any of them is required. Absent: no method."),
    )


class WorkShiftForm(Form):
    """Working time on some days of the week; an end not after the begin is on the next day."""

    days = ListOf(OneOf(DAYS), minimum=1, maximum=7, required=True)
    begin = Text(5, pattern=_CLOCK, required=True, data_key="from", metadata=said("Local time."))
    end = Text(5, pattern=_CLOCK, required=True, data_key="to")


class DaysForm(Form):
    """Days from the first to the last, both included."""

    first = Date(required=True, data_key="from")
    last = Date(required=True, data_key="to")


class OpenDaysForm(DaysForm):
    """Days that are worked like some day of the week."""

    like = OneOf(DAYS, required=True, metadata=said("Whose shifts they have."))


class CalendarForm(Form):
    """When the laboratory works: what "every day" means."""

    time_zone = Text(required=True, metadata=said("IANA name, like Europe/Berlin."))
    shifts = ListOf(Part(WorkShiftForm), maximum=50, metadata=said("Absent: round the clock."))
    closed = ListOf(Part(DaysForm), maximum=400, metadata=said("Holidays and shutdowns."))
    open = ListOf(
        Part(OpenDaysForm), maximum=400, metadata=said("Days worked whatever the rest says.")
    )


class AssessmentForm(Form):
    """What a person decided about results."""

    results = ListOf(Text(), minimum=1, maximum=MAX_RESULTS, required=True)
    cause = Text(2000, required=True)
    outcome = OneOf(OUTCOMES, required=True)
    reason = Text(2000, required=True, metadata=said("Why this outcome is right."))


def entry_form(checks: Iterable[str]) -> type[Form]:
    """The form of an entry, for these kinds of check."""

    class EntryForm(Form):
        """One entry of the logbook. Loads to a dict."""

        id = Text(required=True, metadata=said("Of the sender's own; the same id, the same entry."))
        kind = OneOf(ENTRY_KINDS, required=True)
        at = Instant(metadata=said("Absent: the `performed_at` of the request."))
        instrument = Text(metadata=said("Its id. Absent: that of the request."))
        by = Text(metadata=said("Person. Absent: `performed_by` of the request."))
        note = Text(2000)
        request = AnyObject(metadata=said("Of a check: a check request, which is judged anew."))
        answer = TrustedAnswer(
            checks, metadata=said("Of a check: an earlier answer, which is taken at its word.")
        )
        assessment = Part(AssessmentForm, metadata=said("Of an assessment, what it decides."))

    return EntryForm


class ResultForm(Form):
    """A reported moisture result. Loads to a dict."""

    id = Text(required=True)
    instrument = Text(required=True)
    at = Instant(required=True, metadata=said("When its weighing ended."))
    loss = Quantity("share", "not-negative", metadata=said("As reported."))
    initial_mass = Quantity("mass", "positive")
    method = Text()
    lower_limit = Quantity("share", metadata=said("Specification limit of the product."))
    upper_limit = Quantity("share")


class LogbookForm(Form):
    """All of a logbook but its entries. Loads to a dict."""

    at = Instant(
        required=True,
        metadata=said(
            "The moment that is asked about; the service has no clock. Entries after it "
            "are left out."
        ),
    )
    profile = ProfileReference(
        metadata=said(
            "What checks are required, and how checks are judged that name no profile. "
            "Absent: the built-in general one, which requires none."
        )
    )
    profile_toml = toml_field()
    instruments = ListOf(
        Part(LogbookInstrumentForm),
        maximum=MAX_INSTRUMENTS,
        metadata=said("Absent: those of entries and results, known by their id alone."),
    )
    only_instruments = ListOf(
        Text(),
        minimum=1,
        maximum=MAX_INSTRUMENTS,
        metadata=said("Ids of the instruments that are asked about. Absent: all."),
    )
    calendar = Part(CalendarForm, metadata=said("Needed where a schedule has days, weeks, …"))
    sorted = Flag(
        metadata=said(
            "Entries come in order of time, and one out of order is refused: one pass, "
            "in memory that does not grow with them."
        )
    )
    results = ListOf(Part(ResultForm), maximum=MAX_RESULTS)
