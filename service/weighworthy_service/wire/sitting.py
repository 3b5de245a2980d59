"""The JSON form of a sitting: several checks of one balance, and what they come to together."""

from typing import Final

from weighworthy_service.wire.containers import AnyObject, ListOf, Part
from weighworthy_service.wire.fields import Flag, Text
from weighworthy_service.wire.request import CommonForm, said, weights_field
from weighworthy_service.wire.responses import (
    AnswerForm,
    EngineForm,
    FindingForm,
)
from weighworthy_service.wire.shown import Said, Shown, a_verdict, listed, text
from weighworthy_service.wire.sitting_parts import (
    LossShownForm,
    SittingEvidenceForm,
    SittingFedForm,
)

# As many as a bench does in one go; each may be evaluated twice.
MAX_CHECKS: Final = 20
_ENTRY: Final = (
    "Checks in the order in which they were done. Each has its `check` and its own readings, and "
    "is the merge patch (RFC 7396) of what all have in common."
)


class SittingForm(CommonForm):
    """What all checks of a sitting have in common, and the checks."""

    weights = weights_field(required=False)
    occasion = Text(32, metadata={"default": "routine"})
    checks = ListOf(
        AnyObject(), minimum=1, maximum=MAX_CHECKS, required=True, metadata=said(_ENTRY)
    )


class SittingReasonForm(Said):
    """What an overall verdict rests on."""

    index = Shown({"type": "integer"}, null=True, metadata=said("Position in `checks`."))
    check = text("The kind of check.")
    criterion = text("Key of the criterion that decided.", null=True)
    finding = text("Code of the finding that decided.", null=True)
    verdict = a_verdict("Of that criterion, or of the check.")
    sentence = text("For people.")


class SittingAnswerForm(Said):
    verdict = a_verdict("The worst of all valid checks; null: nothing was judged.")
    verdict_as_found = a_verdict("The same of the state that was found.")
    verdict_as_left = a_verdict("The same of the state from now on.")
    verdict_if_valid = a_verdict("With what void checks would have been otherwise.")
    usable = Flag(
        required=True,
        allow_none=True,
        metadata=said("Whether every check lets the balance be used, and none is missing."),
    )
    because = listed(SittingReasonForm, "What decided, in the order of the checks.")
    findings = listed(FindingForm, "Of the sitting; those of a check stand in its answer.")
    losses = listed(LossShownForm, "What other checks say of a loss. It stays as it is.")
    evidence = Part(
        SittingEvidenceForm,
        required=True,
        metadata=said("What can and what cannot be behind a failure."),
    )
    as_fed = Part(
        SittingFedForm,
        required=True,
        allow_none=True,
        metadata=said(
            "A second evaluation, with figures of the balance that checks of this sitting found "
            "out and the requests do not state; null: there are none. The verdict is not its."
        ),
    )
    answers = listed(AnswerForm, "Of each check, as it would get it alone, to the byte.")
    engine = Part(EngineForm, required=True)
    request_digest = text(
        "SHA-256 of the canonical form (RFC 8785) of the request, without null members and labels."
    )
