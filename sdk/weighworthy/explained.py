"""How the numbers of an answer are reckoned by hand: the steps that ``explain=True`` asks for."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class ExplainedFigure:
    """A figure in a formula: its name there, its digits, and where it comes from.

    ``origin`` is ``from`` of the document: ``step 7``, ``request /rounds/0/zero``, …
    """

    name: str
    figure: str
    origin: str


@dataclass(frozen=True, slots=True)
class ExplanationStep:
    """One line of the reckoning; figures are text, so that no digit is lost.

    ``result`` is exact, or has as many significant digits as ``digits`` says; ``exact`` is the
    quotient that it is, where its digits have no end. ``gives``: JSON pointers into the answer to
    what shows it, to ``gives_digits`` significant digits.
    """

    step: int
    what: str
    symbol: str
    formula: str
    figures: str
    result: str
    exact: str | None
    digits: int | None
    unit: str | None
    where: tuple[ExplainedFigure, ...]
    source: str | None
    gives: tuple[str, ...]
    gives_digits: int
