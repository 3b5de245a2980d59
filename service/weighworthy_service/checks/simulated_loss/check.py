"""What a simulated loss consists of: a load, what is left of it, and the loss displayed."""

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from typing import Final, Literal

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.flaws import Flaw, refuse_if_any
from weighworthy_service.metrology.quantity import EXACT

# A chamber this much warmer at the end has heated its balance, in K (common practice, no source).
HEATED_ABOVE: Final = Decimal(10)


@dataclass(frozen=True, slots=True)
class Loading:
    """What lay on the pan and what was read: indication in g, chamber temperature in °C."""

    load: tuple[str, ...]
    indication: Decimal | None = None
    chamber_temperature: Decimal | None = None
    stable: bool | None = None


@dataclass(frozen=True, slots=True)
class SeriesPoint:
    """A reading during the run, for the plot: time since the start in s, indication in g."""

    at: Decimal
    indication: Decimal


@dataclass(frozen=True, slots=True)
class SimulatedLossCheck:
    """A simulated loss, from both indications, from the displayed loss (in %), or from both."""

    circumstances: Circumstances
    initial: Loading
    final: Loading
    displayed_loss: Decimal | None = None
    basis: Literal["wet", "dry"] = "wet"
    heating: bool | None = None
    series: tuple[SeriesPoint, ...] = ()

    @property
    def took_heat(self) -> bool | None:
        """Whether the chamber was heated; None where the request does not tell."""
        return True if self.chamber_rose else self.heating

    @property
    def chamber_rose(self) -> bool:
        """Whether the stated chamber temperatures show that it was heated."""
        before, after = self.initial.chamber_temperature, self.final.chamber_temperature
        if before is None or after is None:
            return False
        return EXACT.subtract(after, before) > HEATED_ABOVE

    @property
    def hot_zero_shift(self) -> Decimal:
        """Known shift of the zero between the readings in g; none in a cold run."""
        known = self.circumstances.instrument.hot_zero_correction
        return Decimal(0) if known is None or self.took_heat is False else known.value

    def __post_init__(self) -> None:
        refuse_if_any(self._flaws())

    def _flaws(self) -> Iterator[Flaw]:
        yield from self.circumstances.flaws(
            ((name, "load"), part.load)
            for name, part in (("initial", self.initial), ("final", self.final))
        )
        both = self.initial.indication is not None and self.final.indication is not None
        if not both and self.displayed_loss is None:
            for name, part in (("initial", self.initial), ("final", self.final)):
                if part.indication is None:
                    yield Flaw(
                        (name, "indication"),
                        "required",
                        "both indications are needed, or displayed_loss",
                    )
        if self.initial.indication is not None and not self.initial.indication > 0:
            yield Flaw(
                ("initial", "indication"),
                "out-of-range",
                "a loss is a share of the initial load, which must be greater than zero",
            )
        final = self.final.indication
        least = max(Decimal(0), self.hot_zero_shift)
        if self.basis == "dry" and final is not None and not final > least:
            yield Flaw(
                ("final", "indication"),
                "out-of-range",
                "on dry basis the loss is a share of what is left, which must be above zero",
            )
        displayed_only = self.displayed_loss is not None and not both
        if displayed_only and self.circumstances.instrument.loss_interval is None:
            yield Flaw(
                ("instrument", "loss_interval"),
                "required",
                "a displayed loss alone needs the step in which it is displayed",
            )
