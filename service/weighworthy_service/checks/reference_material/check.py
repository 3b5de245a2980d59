"""What a check with a reference material consists of: what is stated of it, and its runs."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.flaws import Flaw, refuse_if_any
from weighworthy_service.metrology.loss import Basis


@dataclass(frozen=True, slots=True)
class Material:
    """A substance of known loss. Loss and uncertainties in %; `due_on`: the last day of use."""

    stated_loss: Decimal
    name: str | None = None
    lot: str | None = None
    expanded_uncertainty: Decimal | None = None
    coverage_factor: Decimal | None = None
    standard_uncertainty: Decimal | None = None
    certificate: str | None = None
    opened_on: date | None = None
    due_on: date | None = None

    @property
    def uncertainty(self) -> Fraction | None:
        """Standard uncertainty of the stated loss in %; None: not stated."""
        if self.expanded_uncertainty is not None:
            return Fraction(self.expanded_uncertainty) / Fraction(self.coverage_factor or 2)
        return None if self.standard_uncertainty is None else Fraction(self.standard_uncertainty)

    def flaws(self) -> Iterator[tuple[str, str, str]]:
        """(field, code, sentence) of what cannot be meant."""
        if self.expanded_uncertainty is not None and self.standard_uncertainty is not None:
            message = "state either the expanded or the standard uncertainty"
            yield "standard_uncertainty", "uncertainty-twice", message
        if self.coverage_factor is not None and self.expanded_uncertainty is None:
            message = "belongs to an expanded uncertainty"
            yield "coverage_factor", "nothing-to-cover", message
        if self.opened_on and self.due_on and self.due_on < self.opened_on:
            yield "due_on", "date-order", "due before it was opened"


@dataclass(frozen=True, slots=True)
class MaterialRun:
    """A drying: net masses before and after in g, or the loss that the analyser displayed in %."""

    initial_mass: Decimal | None = None
    final_mass: Decimal | None = None
    displayed_loss: Decimal | None = None
    stable: bool | None = None

    @property
    def has_masses(self) -> bool:
        """Whether the loss comes from masses; otherwise from the display."""
        return self.initial_mass is not None and self.final_mass is not None


@dataclass(frozen=True, slots=True)
class EarlierSpread:
    """Standard deviation of single losses of the material in earlier runs, in %."""

    standard_deviation: Decimal
    observations: int


@dataclass(frozen=True, slots=True)
class ReferenceMaterialCheck:
    """Runs with one material."""

    circumstances: Circumstances
    material: Material
    runs: tuple[MaterialRun, ...]
    basis: Basis = "wet"
    spread: EarlierSpread | None = None

    def __post_init__(self) -> None:
        refuse_if_any(self._flaws())

    def _flaws(self) -> Iterator[Flaw]:
        yield from self.circumstances.flaws(())
        for leaf, code, detail in self.material.flaws():
            yield Flaw(("material", leaf), code, detail)
        if self.basis == "wet" and self.material.stated_loss >= 100:
            message = "nothing would be left: on wet basis a loss is below 100 %"
            yield Flaw(("material", "stated_loss"), "out-of-range", message)
        displayed = False
        for i, run in enumerate(self.runs):
            if run.has_masses:
                if self.basis == "dry" and not run.final_mass:
                    message = "on dry basis something must be left"
                    yield Flaw(("runs", i, "final_mass"), "out-of-range", message)
                continue
            if run.displayed_loss is None:
                place = "initial_mass" if run.initial_mass is None else "final_mass"
                message = "a run needs both masses, or the displayed loss"
                yield Flaw(("runs", i, place), "required", message)
            displayed = True
        if displayed and self.circumstances.instrument.loss_interval is None:
            message = "is needed where a loss comes from the display"
            yield Flaw(("instrument", "loss_interval"), "required", message)
