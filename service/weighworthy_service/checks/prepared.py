"""Checks of one kind that differ in little: what of their requests differs, and what that decides.

An archive holds thousands of checks of which only the readings are new. What their other fields
decide is settled once, by a check that is prepared; how, each kind tells beside its evaluation.
"""

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass
from typing import Any, Protocol

from weighworthy_service.checks.answer_text import AnswerForm
from weighworthy_service.checks.outcome import Brief, Evaluation, Verdict
from weighworthy_service.checks.terms import Terms

# The place of a field in a request.
Path = tuple[str, ...]


class Prepared(Protocol):
    """A check with everything settled but its readings, for many checks that differ only in them.

    Readings are in base units, in the order of the kind; None: not stated.
    """

    @property
    def brief(self) -> Callable[..., Brief | None]:
        """What a table shows of readings, in whole numbers over `metrology.quantity.QUANTA`; None:
        they make no check, as `evaluation` tells."""

    @property
    def evaluation(self) -> Callable[..., Evaluation]:
        """The whole outcome with readings, in decimals. Raises: SenseError, when they make no
        check."""


# The form of an answer, the texts of its numbers, and the verdict.
Formed = tuple[AnswerForm, Sequence[str], Verdict | None]


class Writer(Protocol):
    """Writes answers that differ in their numbers. Hashed by identity: what it wrote is kept."""

    def __hash__(self) -> int: ...

    @property
    def form(self) -> Callable[..., Formed | None]:
        """With readings as of `Prepared.evaluation`: the form of the answer, the texts of its
        numbers, and the verdict; None: the answer is to be written by itself. Raises: SenseError,
        when they make no check."""


@dataclass(frozen=True, slots=True)
class Reduction:
    """Quantities that differ from check to check, and of which only one thing decides.

    `decides` gives that thing from their values in base units; None: not stated.
    """

    paths: tuple[Path, ...]
    decides: Callable[..., Hashable]


@dataclass(frozen=True, slots=True)
class Preparation:
    """How checks of one kind are prepared, and which fields of their requests that leaves open.

    `readings`: quantities that a prepared check is given, in this order. `idle`: members of a
    request that decide nothing, besides labels and person, which decide nothing in any kind.
    `writer`: what writes answers to a prepared check by forms; None: each is written by itself.
    """

    prepare: Callable[[Any, Terms], Prepared]
    readings: tuple[Path, ...]
    reductions: tuple[Reduction, ...] = ()
    idle: tuple[str, ...] = ()
    writer: Callable[[Any, Callable[[Evaluation], AnswerForm]], Writer] | None = None
