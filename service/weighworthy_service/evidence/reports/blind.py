"""What a check cannot see, and what to beware of, in words for each kind."""

from collections.abc import Mapping
from typing import Any, Final

from weighworthy_service.evidence.reports.sentences import sentence
from weighworthy_service.evidence.reports.words import Words, marked

Data = Mapping[str, Any]

_HEAT: Final = marked("What a hot chamber does to zero and indication: these readings were cold.")
_WEIGHTS: Final = marked(
    "An error of the weights themselves: it counts as one of the balance, or hides one, up to the "
    "uncertainty stated for them."
)
_BLIND: Final = {
    "span": (
        marked(
            "Other loads: one load says nothing of the errors between zero and it, or above it."
        ),
        _HEAT,
        marked("The scatter of the balance: few rounds are no test of repeatability."),
        _WEIGHTS,
    ),
    "linearity": (
        marked("What lies between the loads that were put on, and above the highest of them."),
        _HEAT,
        marked("The scatter of the balance: readings of each load are too few to tell it."),
        _WEIGHTS,
    ),
}
_ANY: Final = (
    marked("Anything but the loads, the moment and the conditions that are stated here."),
    _WEIGHTS,
)
_CAUTIONS: Final = (
    marked("Chamber and pan are hot after a run: let them cool, and hold weights with tweezers."),
    marked(
        "This check does not replace calibration by a competent laboratory. Where weighing is "
        "regulated, local rules and the person responsible decide; this report releases nothing."
    ),
)
_LOSS_CAUTION: Final = marked(
    "A wrong span cancels in a loss: a pass here does not stand for a span check."
)


def blind(words: Words, answer: Data) -> list[str]:
    """What does not show in this check whatever its size."""
    reveals = answer["results"].get("reveals") or []
    unseen = [line["message"] for line in reveals if line["smallest"] is None]
    if unseen:
        return [sentence(message, words.language) for message in unseen]
    return [words.text(text) for text in _BLIND.get(answer["check"], _ANY)]


def cautions(words: Words, check: str) -> list[str]:
    """What to beware of."""
    texts = [*_CAUTIONS]
    if check == "simulated-loss":
        texts.insert(1, _LOSS_CAUTION)
    return [words.text(text) for text in texts]
