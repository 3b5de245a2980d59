"""Which results a check speaks for: the part `reach` of a kind of check.

A kind that knows has a module `reach.py` in its folder with

    reach(criteria: Sequence[Said], results: Said) -> Reach

of the criteria and the results of an answer, which may lack any figure (see `checks.faults`).
Without the module it stays open whether a check covers a result, and a note says so.
"""

from fractions import Fraction
from typing import NamedTuple


class Reach(NamedTuple):
    """What a check covers: initial masses in g, losses in %, ends included; None: not told.

    `any_loss`, `any_mass`: these do not matter to this kind.
    """

    least_mass: Fraction | None = None
    most_mass: Fraction | None = None
    most_loss: Fraction | None = None
    any_loss: bool = False
    any_mass: bool = False


def up_to(highest: Fraction | None) -> Reach:
    """From nothing to a load on the pan, whatever the loss."""
    return Reach(Fraction(0), highest, None, any_loss=True)
