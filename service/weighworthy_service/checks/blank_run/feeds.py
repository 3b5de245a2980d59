"""What other checks of a sitting are evaluated with, of what blank runs found out."""

from collections.abc import Iterator, Mapping
from decimal import Decimal
from fractions import Fraction
from typing import Any

from weighworthy_service.checks.blank_run.check import BlankRunCheck
from weighworthy_service.checks.outcome import Evaluation
from weighworthy_service.metrology.quantity import EXACT


def feeds(check: BlankRunCheck, evaluation: Evaluation) -> Iterator[Mapping[str, Any]]:
    """The bound or the correction, whichever is recommended, in place of neither."""
    declared = evaluation.results["declare"]
    if declared["recommended"] == "hot_zero_drift":
        yield {"hot_zero_drift": _mass(declared["hot_zero_drift"]), "hot_zero_correction": None}
    else:
        known = declared["hot_zero_correction"]
        correction = {name: _mass(value) for name, value in known.items()}
        yield {"hot_zero_drift": None, "hot_zero_correction": correction}


def _mass(value: Decimal | Fraction) -> str:
    """Rounded to a decimal place already, so that nothing is lost."""
    numerator, denominator = map(Decimal, value.as_integer_ratio())
    return f"{EXACT.divide(numerator, denominator):f} g"
