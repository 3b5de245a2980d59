"""A simulated loss of which everything is settled but the readings."""

from dataclasses import replace
from decimal import Decimal

from weighworthy_service.checks.answer import brief_of
from weighworthy_service.checks.flaws import SenseError
from weighworthy_service.checks.outcome import Brief, Evaluation
from weighworthy_service.checks.simulated_loss.check import SimulatedLossCheck
from weighworthy_service.checks.simulated_loss.evaluation import evaluate
from weighworthy_service.checks.terms import Terms


class PreparedLoss:
    """Many simulated losses that differ only in their readings; those of `check` do not count."""

    def __init__(self, check: SimulatedLossCheck, terms: Terms) -> None:
        self._check, self._terms = check, terms

    def brief(
        self, initial: Decimal | None, final: Decimal | None, displayed: Decimal | None
    ) -> Brief | None:
        """What a table shows of these readings; None: they make no check."""
        try:
            return brief_of(self.evaluation(initial, final, displayed))
        except SenseError:
            return None

    def evaluation(
        self, initial: Decimal | None, final: Decimal | None, displayed: Decimal | None
    ) -> Evaluation:
        """The whole outcome. Raises: SenseError, when the readings make no check."""
        check = self._check
        with_readings = replace(
            check,
            initial=replace(check.initial, indication=initial),
            final=replace(check.final, indication=final),
            displayed_loss=displayed,
        )
        return evaluate(with_readings, self._terms)
