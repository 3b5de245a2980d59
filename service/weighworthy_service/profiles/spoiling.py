"""What makes every check of a kind void on a balance, however well it goes, and who asked for it.

A check that went perfectly still finds what is wrong with weights, loads and balance.
"""

from dataclasses import dataclass
from typing import Final

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.outcome import Criterion, Evaluation, Finding
from weighworthy_service.checks.rehearsal import Load
from weighworthy_service.checks.terms import COUNTS

_SPOILING: Final = ("void", "no-pass")
# What a check asks of its sitting, which nobody knows before.
_OF_THE_SITTING: Final = ("/warm_up", "/performed_at")
# Rehearsals are of single loads and few rounds, whatever a real check will have.
_OF_THE_REHEARSAL: Final = (
    "criterion-missing",
    *(f"too-few-{count.replace('_', '-')}" for count in COUNTS),
)
# What another load would mend.
OF_THE_LOAD: Final = ("overload", "no-limit-for-load")
_MADE_BY: Final = {
    "weight-overdue": "validity.weights_in_date",
    "weight-outside-class": "validity.weights_in_class",
    "net-mass-too-small": "validity.scatter_at_most",
    "too-few-observations": "validity.scatter_at_most",
    "start-load-off-window": "start_window",
}
_NOT_STATED: Final = {
    "due_on": "validity.weights_in_date",
    "weight_class": "validity.weights_in_class",
    "repeatability": "validity.scatter_at_most",
}


@dataclass(frozen=True, slots=True)
class Met:
    """A finding of a check that went perfectly: of which load, about which criterion, if of one."""

    finding: Finding
    load: Load
    criterion: Criterion | None

    @property
    def spoils(self) -> bool:
        """Whether it makes every such check void, or keeps it from passing."""
        finding = self.finding
        return (
            finding.severity in _SPOILING
            and finding.code not in _OF_THE_REHEARSAL
            and (finding.field or "") not in _OF_THE_SITTING
        )

    def touches(self, criterion: Criterion) -> bool:
        """Whether it speaks of the same stage of the check."""
        own = self.criterion
        return own is None or None in (own.stage, criterion.stage) or own.stage == criterion.stage

    @property
    def setting(self) -> str | None:
        """The setting that asks for what is lacking, like `limits.span_error`; None: no single."""
        if self.criterion is not None:
            return f"limits.{self.criterion.name}"
        if self.finding.code == "not-stated":
            return _NOT_STATED.get((self.finding.field or "").rpartition("/")[2])
        return _MADE_BY.get(self.finding.code)

    def sentence(self, slug: str, circumstances: Circumstances) -> str:
        """What it means for checks of the kind."""
        said = self.finding.message
        if self.criterion is not None:
            said = said.replace(f"{self.criterion.key}: ", f"{self.criterion.name}: ", 1)
        if self.finding.code == "overload":
            said = (
                f"{' + '.join(self.load)}, {circumstances.nominal(self.load):f} g, is above the "
                f"capacity, {circumstances.instrument.capacity:f} g"
            )
        if self.finding.severity == "void":
            return f"{said}; every such {slug} check is void"
        return f"{said}; no such {slug} check can pass"


def met(evaluation: Evaluation, load: Load) -> list[Met]:
    """The findings of a check, each with the criterion that its sentence begins with."""
    return [
        Met(
            finding,
            load,
            next(
                (c for c in evaluation.criteria if finding.message.startswith(f"{c.key}: ")), None
            ),
        )
        for finding in evaluation.findings
    ]
