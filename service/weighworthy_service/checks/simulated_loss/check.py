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
_NOTHING: Final = Decimal(0)


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
        return chamber_rose(self.initial.chamber_temperature, self.final.chamber_temperature)

    @property
    def hot_zero_shift(self) -> Decimal:
        """Known shift of the zero between the readings in g; none in a cold run."""
        known = self.circumstances.instrument.hot_zero_correction
        return Decimal(0) if known is None or self.took_heat is False else known.value

    @property
    def least_final(self) -> Decimal | None:
        """What the final indication must be above, in g; on wet basis nothing."""
        return max(_NOTHING, self.hot_zero_shift) if self.basis == "dry" else None

    def __post_init__(self) -> None:
        refuse_if_any(self._flaws())

    def _flaws(self) -> Iterator[Flaw]:
        yield from self.circumstances.flaws(
            ((name, "load"), part.load)
            for name, part in (("initial", self.initial), ("final", self.final))
        )
        yield from reading_flaws(
            self.initial.indication,
            self.final.indication,
            self.displayed_loss,
            least_final=self.least_final,
            loss_interval=self.circumstances.instrument.loss_interval,
        )


def chamber_rose(before: Decimal | None, after: Decimal | None) -> bool:
    """Whether temperatures of the chamber in °C show that it was heated; None: not stated."""
    if before is None or after is None:
        return False
    return EXACT.subtract(after, before) > HEATED_ABOVE


def reading_flaws(
    initial: Decimal | None,
    final: Decimal | None,
    displayed: Decimal | None,
    *,
    least_final: Decimal | None,
    loss_interval: Decimal | None,
) -> list[Flaw]:
    """What keeps readings from being a check: indications in g, losses in %."""
    found = []
    both = initial is not None and final is not None
    if not both and displayed is None:
        message = "both indications are needed, or displayed_loss"
        for name, indication in (("initial", initial), ("final", final)):
            if indication is None:
                found.append(Flaw((name, "indication"), "required", message))
    if initial is not None and not initial > _NOTHING:
        message = "a loss is a share of the initial load, which must be greater than zero"
        found.append(Flaw(("initial", "indication"), "out-of-range", message))
    if least_final is not None and final is not None and not final > least_final:
        message = "on dry basis the loss is a share of what is left, which must be above zero"
        found.append(Flaw(("final", "indication"), "out-of-range", message))
    if not both and displayed is not None and loss_interval is None:
        message = "a displayed loss alone needs the step in which it is displayed"
        found.append(Flaw(("instrument", "loss_interval"), "required", message))
    return found
