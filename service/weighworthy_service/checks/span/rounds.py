"""A judged round of a span check, with what follows from it exactly."""

from decimal import Decimal
from typing import Any

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.contributions import (
    Reading,
    error_effects,
    error_rows,
)
from weighworthy_service.checks.span.check import Round, SpanCheck
from weighworthy_service.checks.terms import Terms
from weighworthy_service.metrology.budget import BudgetRow
from weighworthy_service.metrology.quantity import EXACT


class RoundRead:
    """A judged round with what follows from it exactly."""

    def __init__(self, check: SpanCheck, index: int) -> None:
        r = check.rounds[index]
        assert r.zero is not None  # noqa: S101  SpanCheck refuses judged rounds without readings
        assert r.indication is not None  # noqa: S101
        self.index = index
        self.round: Round = r
        self.circumstances: Circumstances = check.circumstances
        self.segment = sum(1 for other in check.rounds[:index] if other.stage == "adjustment")
        just_adjusted = check.circumstances.occasion == "after-adjustment" and r.stage == "as-left"
        self.adjusted = self.segment > 0 or just_adjusted
        self.zero, self.indication = r.zero, r.indication
        self.load = check.circumstances.nominal(r.load)
        self.mass = check.circumstances.mass(r.load)
        self.error = EXACT.subtract(EXACT.subtract(self.indication, self.zero), self.mass)
        self.zero_return = None if r.zero_after is None else EXACT.subtract(r.zero_after, self.zero)
        reading = Reading(f"round {index}", self.load, len(r.load))
        self.effects = error_effects(reading, f"zero {index}", r.load)

    @property
    def error_mean_zero(self) -> Decimal | None:
        """The error against the mean of the zeros before and after."""
        if self.zero_return is None:
            return None
        return EXACT.subtract(self.error, EXACT.multiply(self.zero_return, Decimal("0.5")))

    def as_result(self) -> dict[str, Any]:
        """What `results` say of the round."""
        return {
            "index": self.index,
            "stage": self.round.stage,
            "load": self.load,
            "mass": self.mass,
            "error": self.error,
            "error_mean_zero": self.error_mean_zero,
            "zero_return": self.zero_return,
        }


def round_rows(r: RoundRead, terms: Terms) -> list[BudgetRow]:
    """Budget of the error of one round."""
    correlation = terms.at(r.round.stage).weights_correlation
    return error_rows(r.effects, r.circumstances, correlation, adjusted=r.adjusted)
