"""What the rest of the service may know of a kind of check."""

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache, cached_property
from importlib import import_module
from importlib.resources import files
from importlib.util import find_spec
from pkgutil import iter_modules
from types import ModuleType
from typing import TYPE_CHECKING, Any

from marshmallow.fields import Field

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.outcome import CriterionName, Evaluation
from weighworthy_service.checks.prepared import Preparation
from weighworthy_service.checks.rehearsal import Loads, Rehearsal
from weighworthy_service.checks.request import CheckForm
from weighworthy_service.checks.terms import Terms

if TYPE_CHECKING:
    from weighworthy_service.checks.explaining.sheet import Step


@cache
def _part(package: str, name: str) -> ModuleType | None:
    module = f"{package}.{name}"
    # Asked for first, so that a module that is there and lacks what it imports is no absent one.
    return import_module(module) if find_spec(module) is not None else None


@dataclass(frozen=True)
class Kind:
    """One kind of check: its address, its request form, and the function that judges it.

    `rehearse` makes the checks of a perfect balance, which tell what limits do. `loads` reads from
    a request which loads these take, or whatever else they need, and what it reads is handed to
    `rehearse`; None: they need nothing, and are handed None.
    `settings` are those of a profile that mean something to this kind and not to all, like
    `validity.points`; `staged`: its readings are as found or as left.
    `preparation` tells how thousands of checks are settled but for their readings; None: this kind
    judges every check by itself.

    `package` is the folder that also holds `about.md` and `example.json`, and modules that say more
    of the kind to whoever asks for them (see `part`).
    """

    slug: str
    title: str
    package: str
    form: CheckForm
    evaluate: Callable[[Any, Terms], Evaluation]
    criteria: tuple[CriterionName, ...]
    rehearse: Callable[[Circumstances, Loads], tuple[Rehearsal, ...]]
    preparation: Preparation | None = None
    loads: Field[Any] | None = None
    settings: tuple[str, ...] = ()
    staged: bool = False

    def part(self, name: str) -> ModuleType | None:
        """The module of that name in the kind's folder, loaded now; None: the kind has none.

        A kind says there what a general default cannot know of it; who asks for a part says in its
        own docstring what the module has to offer. Raises whatever loading the module raises.
        """
        return _part(self.package, name)

    def load_parts(self) -> None:
        """Load every module of the kind's folder, as whoever must not wait for them later does."""
        for module in iter_modules(import_module(self.package).__path__):
            self.part(module.name)

    @property
    def explain(self) -> "Callable[[Any, Terms, Evaluation], Sequence[Step]] | None":
        """What reckons an evaluated check again, as a person would by hand; None: nothing does.

        It is `explain` of the part `explanation`.
        """
        part = self.part("explanation")
        if part is None:
            return None
        given: Callable[[Any, Terms, Evaluation], Sequence[Step]] = part.explain
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
