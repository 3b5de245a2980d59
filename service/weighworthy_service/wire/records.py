"""The JSON form of records: what is sealed, what is verified, and what the answers say."""

from typing import Any, Final

from weighworthy_service.wire.coded import refused
from weighworthy_service.wire.containers import AnyObject, ListOf, Part
from weighworthy_service.wire.fields import Flag, Instant, OneOf, Strict, Text
from weighworthy_service.wire.form import Form
from weighworthy_service.wire.request import said
from weighworthy_service.wire.responses import AnswerForm, EngineForm
from weighworthy_service.wire.shown import Said, Shown, listed, number, text

DIGEST: Final = "sha256:[0-9a-f]{64}"
VERSION: Final = 1
_PREVIOUS: Final = "Digest of the record before it in its chain; null: it is the first."
_SEALED_AT: Final = "When, as whoever had it sealed says: the service has no clock."
_SEALS: Final = ("ok", "altered", "unknown-key", "unsigned")


def _digest(sentence: str, **kwargs: Any) -> Text:
    return Text(71, pattern=DIGEST, metadata=said(sentence), **kwargs)


class Moment(Instant):
    """A time that is looked at and kept as it was written."""

    def read(self, text: str) -> Any:
        super().read(text)
        return text


class RecordVersion(Strict[int]):
    """The number of the form of a record, which is 1."""

    wanted = "a whole number"

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> int:
        # 1.0 is the same whole number in JSON, and some stores write it so.
        if isinstance(value, float) and value.is_integer():
            value = int(value)
        if not isinstance(value, int) or isinstance(value, bool):
            raise self.make_error("invalid")
        if value != VERSION:
            later = "verify it with a later version" if value > VERSION else "there is none such"
            raise refused(
                "record-version", f"record version {value}, and {VERSION} is read here: {later}"
            )
        return value

    def keywords(self) -> dict[str, Any]:
        return {"type": "integer", "const": VERSION}


class SealRequestForm(Form):
    """What is to be evaluated and sealed; an answer is never taken, it is computed."""

    request = AnyObject(
        required=True, metadata=said("A check request with its `check`, as for a batch.")
    )
    previous = _digest(_PREVIOUS)
    sealed_at = Moment(required=True, metadata=said(_SEALED_AT))


class RecordForm(Form):
    """A record as it was sealed; members may stand in any order."""

    record_version = RecordVersion(required=True)
    request = AnyObject(required=True)
    profile = AnyObject(required=True)
    answer = AnyObject(required=True)
    previous = _digest(_PREVIOUS)
    sealed_at = Moment(required=True, metadata=said(_SEALED_AT))
    digest = _digest("As the record states it.", required=True)
    signature = Text(2000)


class ChainRequestForm(Form):
    """Records in the order in which they were sealed."""

    records = ListOf(
        AnyObject(), minimum=1, maximum=1000, required=True, metadata=said("More come as lines.")
    )


class SealedRecordForm(Said):
    """A record: what was asked, by which profile, what was answered, and its seal."""

    record_version: Any = Shown({"type": "integer"}, metadata=said("Of this form: 1."))
    request: Any = Shown({"type": "object"}, metadata=said("As it was sent."))
    profile: Any = Shown(
        {"$ref": "#/components/schemas/Profile"},
        metadata=said("Resolved: with all that it builds on written into it."),
    )
    answer = Part(AnswerForm, required=True)
    previous = text(_PREVIOUS, null=True)
    sealed_at = text(_SEALED_AT)
    digest = text(
        "SHA-256 of the canonical form (RFC 8785) of the record without `digest` and `signature`."
    )
    signature = text(
        "Of those same bytes: a detached JWS (RFC 7515, appendix F) with Ed25519; null: the "
        "service holds no key.",
        null=True,
    )


class DifferenceForm(Said):
    pointer = text("JSON pointer into the answer.")
    recorded: Any = Shown({}, null=True, metadata=said("As the record has it."))
    recomputed: Any = Shown({}, null=True, metadata=said("As it comes out now."))
    missing = text("On which side there is nothing: recorded, recomputed.", null=True)
    explanation = text("What explains it; null: nothing does.", null=True)


class ReasonForm(Said):
    about = text("seal, profile, evaluation, engine or record. May grow.")
    code = text("For programs. May grow.")
    message = text("For people.")
    pointer = text("JSON pointer into the record.")


class VerificationForm(Said):
    """What agrees of a record. Only `seal: ok` with `agrees: true` speaks for it whole."""

    seal = OneOf(
        _SEALS,
        required=True,
        metadata=said(
            "`ok`: signed by a key that is known here, and unchanged since. `altered`: what it "
            "holds is not what was sealed. `unknown-key`: signed by another key, so nothing is "
            "known of its seal. `unsigned`: only the digest fits, which anybody can compute."
        ),
    )
    agrees = Flag(
        required=True,
        metadata=said(
            "The digest is that of the content, and profile, verdict and every number come out "
            "again, but for explained differences. Says nothing of who signed."
        ),
    )
    profile = text("same, differs, not-readable: what is held, and what answer and request name.")
    verdict = text("same, differs, not-recomputed.")
    numbers = listed(DifferenceForm, "Numbers that do not agree, at most 1000.")
    others = listed(DifferenceForm, "Texts, verdicts and whole parts that do not, at most 1000.")
    differences = Shown({"type": "integer"})
    unexplained = Shown({"type": "integer"})
    reasons = listed(ReasonForm, "Why something is not in order.")
    digest = text("Of what the record holds.")
    stated_digest = text("As the record states it.")
    previous = text(_PREVIOUS, null=True)
    sealed_at = text(_SEALED_AT)
    key_id = text("Of the key that the signature names.", null=True)
    recorded_engine = Part(
        EngineForm, required=True, allow_none=True, metadata=said("That made the record.")
    )
    engine = Part(EngineForm, required=True, metadata=said("That verified it."))


class SealCountsForm(Said):
    ok = number(null=False)
    altered = number(null=False)
    unknown_key = Shown({"type": "number"}, data_key="unknown-key")
    unsigned = number(null=False)


class LinkForm(Said):
    line = Shown({"type": "integer"}, metadata=said("In the input, from 1."))
    digest = text("Of what the record holds.")
    previous = text(_PREVIOUS, null=True)
    sealed_at = text()


class BreakForm(Said):
    """Where a record does not follow the one that stands before it."""

    line = Shown({"type": "integer"}, metadata=said("Of the record that does not follow."))
    code = text(
        "missing, order, twice, begins-anew, before-altered, before-unreadable, time-goes-back, "
        "last-differs. May grow."
    )
    message = text("For people.")
    digest = text("Of the record that does not follow.")
    previous = text("What it names as the one before it.", null=True)


class RecordFaultForm(Said):
    """A record that does not agree, is no record, or whose seal does not hold."""

    line = Shown({"type": "integer"})
    digest = text("null: it is no record.", null=True)
    seal = OneOf(_SEALS, required=True, allow_none=True)
    agrees = Flag(required=True)
    profile = text(null=True)
    verdict = text(null=True)
    differences = Shown({"type": "integer"}, null=True)
    reasons = listed(ReasonForm)


class ChainForm(Said):
    """What a list of records comes to."""

    agrees = Flag(required=True, metadata=said("Every record agrees, and none is out of place."))
    unbroken = Flag(required=True, metadata=said("Each names the one before it."))
    records = Shown({"type": "integer"}, metadata=said("Entries, also those that are no record."))
    unreadable = Shown({"type": "integer"}, metadata=said("Entries that are no record."))
    agreeing = Shown({"type": "integer"}, metadata=said("Records that agree by themselves."))
    seals = Part(SealCountsForm, required=True)
    first = Part(LinkForm, required=True, allow_none=True)
    last = Part(
        LinkForm,
        required=True,
        allow_none=True,
        metadata=said("Whether later ones are missing, only its digest kept elsewhere can show."),
    )
    breaks = listed(BreakForm, "At most 1000.")
    breaks_found = Shown({"type": "integer"})
    faults = listed(RecordFaultForm, "At most 1000.")
    faults_found = Shown({"type": "integer"})
    engine = Part(EngineForm, required=True, metadata=said("That verified them."))


class PublicKeyForm(Said):
    kty = text()
    crv = text()
    x = text()
    kid = text()
    use = text()
    alg = text()


class PublicKeysForm(Said):
    """A set of JSON web keys (RFC 7517)."""

    keys = listed(PublicKeyForm, "What seals are verified with.")
    seals_with = text("The id of the key that seals; null: records are not signed.", null=True)
