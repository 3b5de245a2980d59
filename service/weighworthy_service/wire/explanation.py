"""The JSON form of an explanation: how every number of an answer is reckoned by hand."""

from typing import Final

from weighworthy_service.wire.request import said
from weighworthy_service.wire.shown import Said, Shown, listed, text

# `from` is no name that a class body could have.
ExplainedFigureForm: Final = Said.from_dict(
    {
        "name": text("In the formula of this step."),
        "figure": text("As it stands in `figures`."),
        "from": text(
            "Where it comes from: `step 7`; `request /rounds/0/zero`; `profile id@revision "
            "/rules/…`; `setting decision.coverage` of the profile in force, or its usual value; "
            "`table OIML F1, 20 g`; `rule …`, as the page of all checks states it."
        ),
    },
    name="ExplainedFigureForm",
)


class ExplanationStepForm(Said):
    step = Shown({"type": "integer", "minimum": 1}, metadata=said("Counted from 1."))
    what = text("What it is, in words.")
    symbol = text("What it is called in formulas.")
    formula = text("With names; as an expression of Python.")
    figures = text("The formula with its figures put in.")
    result = text("What that comes to: exactly, or to as many digits as `digits` says.")
    exact = text("The quotient that it is, where its digits have no end.", null=True)
    digits = Shown(
        {"type": "integer"},
        null=True,
        metadata=said("Significant digits of `result`, half to even; null: it is exact."),
    )
    unit = text("Of UCUM; null: no number.", null=True)
    where = listed(ExplainedFigureForm)
    source = text("Where the formula comes from.", null=True)
    gives = Shown(
        {"type": "array", "items": {"type": "string"}},
        metadata=said("JSON pointers into the answer to what shows it."),
    )
    gives_digits = Shown(
        {"type": "integer"},
        metadata=said("Significant digits, half to even, to which these places show it."),
    )
