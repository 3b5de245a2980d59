"""What a failed heater check means for a loss: nobody can tell from the check alone how much.

How a loss changes with the temperature of drying belongs to the product and the method: one sample
dried at several temperatures tells it, or one in an oven beside this analyser.
"""

from collections.abc import Iterable
from fractions import Fraction
from typing import Final

from weighworthy_service.checks.faults import Effect, Fault, Said, key_of

_SENTENCES: Final = {
    "temperature_error": "Samples dried hotter or colder than set lose more or less than thought.",
    "settling_time": "A chamber that warms up late dries less in the same time.",
    "temperature_spread": "An unsteady chamber dries one sample differently from the next.",
    "display_error": "Who trusted the display dried at another temperature than thought.",
}
_OTHER: Final = "The chamber was not as it should be."
_UNKNOWN: Final = Effect(
    None,
    remark="How much a loss changes with temperature the check cannot tell: the method has to.",
)


def faults(failed: Iterable[Said], _results: Said) -> tuple[Fault, ...]:
    """One for each criterion that failed, of unknown size."""

    def effect(_loss: Fraction | None, _mass: Fraction | None) -> Effect:
        return _UNKNOWN

    return tuple(
        Fault(
            str(criterion.get("name") or "heater").replace("_", "-"),
            key_of(criterion),
            _SENTENCES.get(str(criterion.get("name")), _OTHER),
            effect,
            needs_mass=False,
        )
        for criterion in failed
    )
