"""What the rest of the service may know of a kind of check."""

import json
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property
from importlib.resources import files
from typing import Any, Protocol

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.outcome import Brief, CriterionName, Evaluation
from weighworthy_service.checks.rehearsal import Loads, Rehearsal
from weighworthy_service.checks.request import CheckForm
from weighworthy_service.checks.terms import Terms


class Prepared(Protocol):
    """A check with everything settled but its readings, for many checks that differ only in them.

    Readings: both indications in g and the displayed loss in %; None: not stated.
    """

    def brief(
        self, initial: Decimal | None, final: Decimal | None, displayed: Decimal | None
    ) -> Brief | None:
        """What a table shows of these readings; None: they make no check, as `evaluation` tells."""

    def evaluation(
        self, initial: Decimal | None, final: Decimal | None, displayed: Decimal | None
    ) -> Evaluation:
        """The whole outcome with these readings. Raises: SenseError, when they make no check."""


def _not_prepared(_check: Any, _terms: Terms) -> None:
    return None


@dataclass(frozen=True)
class Kind:
    """One kind of check: its address, its request form, and the function that judges it.

    `rehearse` makes the checks of a perfect balance with given loads, which tell what limits do.
    `prepare` settles everything about a check but its readings; None: this kind cannot.

    `package` is the folder that also holds `about.md` and `example.json`.
    """

    slug: str
    title: str
    package: str
    form: CheckForm
    evaluate: Callable[[Any, Terms], Evaluation]
    criteria: tuple[CriterionName, ...]
    rehearse: Callable[[Circumstances, Loads], tuple[Rehearsal, ...]]
    prepare: Callable[[Any, Terms], Prepared | None] = _not_prepared

    @cached_property
    def about(self) -> str:
        """What the check is and how it is judged, in Markdown, for people."""
        return (files(self.package) / "about.md").read_text("utf-8")

    @cached_property
    def example(self) -> dict[str, Any]:
        """`request` and `answer` of a worked example."""
        example: dict[str, Any] = json.loads((files(self.package) / "example.json").read_bytes())
        return example
