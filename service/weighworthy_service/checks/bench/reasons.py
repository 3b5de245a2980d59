"""Why a check cannot pass, whatever the display shows, and what to do about it, in words."""

from collections.abc import Iterable, Iterator, Mapping
from decimal import Decimal
from types import MappingProxyType
from typing import Final

from weighworthy_service.checks.limit_words import amount_text, listed
from weighworthy_service.checks.outcome import Criterion, Evaluation, Finding
from weighworthy_service.json_document import pointer_parts

SPOILING: Final = ("void", "no-pass")

_REMEDIES: Final[Mapping[str, str]] = MappingProxyType(
    {
        "weight-overdue": "Use weights that are in date, or have {name} calibrated, and the "
        "new certificate entered.",
        "weight-outside-class": "Use weights that their certificates show within their class in "
        "place of {name}.",
        "weights-too-coarse": "Use weights with a smaller uncertainty, of a better class or with a "
        "certificate.",
        "uncertainty-exceeds-tolerance": "Use weights with a smaller uncertainty, or a balance of "
        "smaller scatter and scale interval.",
        "net-mass-too-small": "Use a larger load.",
        "too-few-observations": "Determine the repeatability from more weighings, and enter it.",
        "start-load-off-window": "Put together weights whose total lies in the start window.",
        "overload": "Use a load that the balance can weigh.",
        "no-limit-for-load": "Use a load for which the profile has a limit.",
        "limits-cross": "Have the limits put right.",
        "loss-within-tolerance": "Take off a larger part of the load.",
        "too-few-points": "Have the card made for more loads.",
        "criterion-missing": "Have the card made for more loads.",
        "nothing-judged": "Have a limit set for this check on this balance.",
    }
)
_LACKING: Final[Mapping[str, str]] = MappingProxyType(
    {
        "due_on": "Have the date entered of the next calibration of {name}, or use weights "
        "that have one.",
        "weight_class": "Have the class of {name} entered, or use weights that have one.",
    }
)
_LIMITS: Final = (
    "Have limits, weights and scale interval looked at together: as they are, the balance cannot "
    "pass however good it is."
)
_TELL: Final = (
    "Tell the person responsible. Until a check that counts has passed, this balance has not been "
    "checked."
)


def reasons(evaluation: Evaluation) -> tuple[str, ...]:
    """What keeps a check from passing: conditions first, then criteria."""
    said = [sentence(finding, evaluation) for finding in _spoiling(evaluation)]
    # Where the check counts for nothing, its criteria do not matter.
    if not said or evaluation.verdict != "void":
        said += [
            f"{_name(c)}: its limits leave no displayed value that passes ({c.decision_rule}; "
            f"U = {amount_text(c.expanded_uncertainty or Decimal(0), c.unit)})"
            for c in _failing(evaluation)
        ]
    if not said and evaluation.verdict is None:
        said = [f.message for f in evaluation.findings if f.code == "nothing-judged"]
    return tuple(dict.fromkeys(said))


def remedies(evaluation: Evaluation) -> tuple[str, ...]:
    """What to do where no displayed value lets the balance be used, the last of it in any case."""
    said = _remedies(_spoiling(evaluation))
    if not said and _failing(evaluation):
        said = [_LIMITS]
    if not said and evaluation.verdict is None:
        said = [_REMEDIES["nothing-judged"]]
    return (*dict.fromkeys(said), _TELL)


def sentence(finding: Finding, evaluation: Evaluation) -> str:
    """The message of a finding, with its criterion named as people name it."""
    for criterion in evaluation.criteria:
        if finding.code == "criterion-missing" and finding.message.startswith(criterion.key):
            return f"{_name(criterion)}: these loads are too few or too much alike to judge it"
        if finding.message.startswith(f"{criterion.key}: "):
            return finding.message.replace(criterion.key, _name(criterion), 1)
    return finding.message


def tell() -> tuple[str, ...]:
    """What to do where nothing else is known."""
    return (_TELL,)


def _spoiling(evaluation: Evaluation) -> Iterator[Finding]:
    # In the order of the answer, void before no-pass.
    return (finding for finding in evaluation.findings if finding.severity in SPOILING)


def _failing(evaluation: Evaluation) -> list[Criterion]:
    return [c for c in evaluation.criteria if c.verdict not in (None, "pass")]


def _name(criterion: Criterion) -> str:
    name = criterion.name.replace("_", " ").capitalize()
    of_load = criterion.name == "point_error" and criterion.load is not None
    return f"{name} at {amount_text(criterion.load or Decimal(0), 'g')}" if of_load else name


def _remedies(findings: Iterable[Finding]) -> list[str]:
    """One sentence for all weights that need the same."""
    named: dict[str, list[str]] = {}
    for finding in findings:
        sentence, names = _remedy(finding)
        named.setdefault(sentence, []).extend(names)
    return [text.format(name=listed(list(dict.fromkeys(names)))) for text, names in named.items()]


def _remedy(finding: Finding) -> tuple[str, list[str]]:
    """What to do, and the weight to do it with, if it is one."""
    path = ["", *pointer_parts(finding.field or "")]
    if finding.code == "not-stated":
        if path[-1] in _LACKING:
            return _LACKING[path[-1]], path[-2:-1]
        return f"Have this entered for the balance: {path[-1].replace('_', ' ')}.", []
    weight = {"weight-overdue": path[-2:-1], "weight-outside-class": path[-1:]}
    return _REMEDIES.get(finding.code, _LIMITS), weight.get(finding.code, [])
