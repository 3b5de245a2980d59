"""What the rest of the service may know of a kind of check."""

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from importlib import import_module
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.outcome import CriterionName, Evaluation
from weighworthy_service.checks.prepared import Preparation
from weighworthy_service.checks.rehearsal import Loads, Rehearsal
from weighworthy_service.checks.request import CheckForm
from weighworthy_service.checks.terms import Terms

if TYPE_CHECKING:
    from weighworthy_service.checks.explaining.sheet import Step


@dataclass(frozen=True)
class Kind:
    """One kind of check: its address, its request form, and the function that judges it.

    `rehearse` makes the checks of a perfect balance with given loads, which tell what limits do.
    `preparation` tells how thousands of checks are settled but for their readings; None: this kind
    judges every check by itself. `explained_in` is the module whose `explain` reckons an evaluated
    check again, as a person would by hand, loaded when somebody asks; None: this kind does not.

    `package` is the folder that also holds `about.md` and `example.json`.
    """

    slug: str
    title: str
    package: str
    form: CheckForm
    evaluate: Callable[[Any, Terms], Evaluation]
    criteria: tuple[CriterionName, ...]
    rehearse: Callable[[Circumstances, Loads], tuple[Rehearsal, ...]]
    preparation: Preparation | None = None
    explained_in: str | None = None

    @property
    def explain(self) -> "Callable[[Any, Terms, Evaluation], Sequence[Step]] | None":
        """What gives the steps of a check by hand; see `explained_in`."""
        if self.explained_in is None:
            return None
        given: Callable[[Any, Terms, Evaluation], Sequence[Step]]
        given = import_module(self.explained_in).explain
        return given

    @cached_property
    def about(self) -> str:
        """What the check is and how it is judged, in Markdown, for people."""
        return (files(self.package) / "about.md").read_text("utf-8")

    @cached_property
    def example(self) -> dict[str, Any]:
        """`request` and `answer` of a worked example."""
        example: dict[str, Any] = json.loads((files(self.package) / "example.json").read_bytes())
        return example
