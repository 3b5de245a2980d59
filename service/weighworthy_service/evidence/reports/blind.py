"""What a check cannot see, and what to beware of, in words."""

from collections.abc import Iterator, Mapping
from typing import Any, Final

from weighworthy_service.checks.pages import WEIGHTS, marked
from weighworthy_service.evidence.reports.of_kind import OfKind
from weighworthy_service.evidence.reports.sentences import sentence

Data = Mapping[str, Any]

_ANY: Final = marked("Anything but the loads, the moment and the conditions that are stated here.")
_OF_RUNS: Final = marked("Anything but the moment and the conditions that are stated here.")
_CAUTIONS: Final = (
    marked("Chamber and pan are hot after a run: let them cool, and hold weights with tweezers."),
    marked(
        "This check does not replace calibration by a competent laboratory. Where weighing is "
        "regulated, local rules and the person responsible decide; this report releases nothing."
    ),
)


def blind(of: OfKind, answer: Data) -> list[str]:
    """What does not show in this check whatever its size, by its answer, its kind, or any."""
    reveals = answer["results"].get("reveals") or []
    unseen = [line["message"] for line in reveals if line["smallest"] is None]
    if unseen:
        return [sentence(message, of.words.language) for message in unseen]
    return [of.words.text(text) for text in of.pages.blind or _blind_of_any(of)]


def cautions(of: OfKind) -> list[str]:
    """What to beware of."""
    first, *others = _CAUTIONS
    return [of.words.text(text) for text in (first, *of.pages.cautions, *others)]


def _blind_of_any(of: OfKind) -> Iterator[str]:
    weights = of.members.get("weights")
    if weights is None or weights.required:
        yield _ANY
        yield WEIGHTS
    else:
        yield _OF_RUNS
