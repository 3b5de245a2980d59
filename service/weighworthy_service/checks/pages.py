"""What reports call the things of one kind of check: the part `pages` of a kind.

A kind may have a module `pages.py` in its folder with

    PAGES: Final = Pages(criteria={"span_error": marked("Error of indication")}, …)

Its texts are English and `marked`, by which the catalogue of translations collects them; what has
no translation yet stays English. Without the module a report has all its parts all the same: names
are written out (`zero_after`: "Zero after"), fields stand in the order of the form, and what no
check can see is told in general terms.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final


def marked(message: str) -> str:
    """The same text: marks for the catalogue what is translated where it is shown."""
    return message


HEAT: Final = marked("What a hot chamber does to zero and indication: these readings were cold.")
WEIGHTS: Final = marked(
    "An error of the weights themselves: it counts as one of the balance, or hides one, up to the "
    "uncertainty stated for them."
)


@dataclass(frozen=True, slots=True)
class Figure:
    """A figure of `results` by its name and what it is called, in an answer's unit (g, %, K, s)."""

    name: str
    title: str
    unit: str


@dataclass(frozen=True, slots=True)
class Pages:
    """The words of one kind of check, by the names that stand in requests and answers.

    Attributes:
        criteria: what is judged.
        series: the same over time, where a series is of something else than the criterion.
        fields: what a request states beside what every request does.
        values: words that stand in fields.
        first: fields that stand first among the facts, or in rows of readings; the others follow in
            the order of the form.
        found: figures that stand behind each row of readings: of the object of the same `index` in
            the list of `results` that has the name of the list of readings.
        results: figures that stand below the readings, where the answer has them.
        blind: what does not show in the check whatever its size, where the answer does not say it
            itself (`reveals`).
        place: what the position of a judged value counts, with its number.
        cautions: what to beware of, beside chamber, pan, and who decides.
    """

    criteria: Mapping[str, str] = field(default_factory=dict)
    series: Mapping[str, str] = field(default_factory=dict)
    fields: Mapping[str, str] = field(default_factory=dict)
    values: Mapping[str, str] = field(default_factory=dict)
    first: tuple[str, ...] = ()
    found: tuple[Figure, ...] = ()
    results: tuple[Figure, ...] = ()
    blind: tuple[str, ...] = ()
    place: str = marked("reading {number}")
    cautions: tuple[str, ...] = ()
