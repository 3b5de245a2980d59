"""What simulated losses of an archive differ in: their readings, and how warm the chamber was.

Air decides nothing: the loss is a ratio in which the buoyancy of the weights is not even budgeted.
Of the temperatures of the chamber only whether they show that it was heated.
"""

from typing import Final

from weighworthy_service.checks.prepared import Preparation, Reduction
from weighworthy_service.checks.simulated_loss.check import chamber_rose
from weighworthy_service.checks.simulated_loss.evaluation import PreparedLoss
from weighworthy_service.checks.simulated_loss.written import LossText

PREPARATION: Final = Preparation(
    PreparedLoss,
    readings=(("initial", "indication"), ("final", "indication"), ("displayed_loss",)),
    reductions=(
        Reduction(
            (("initial", "chamber_temperature"), ("final", "chamber_temperature")), chamber_rose
        ),
    ),
    idle=("environment",),
    writer=LossText,
)
