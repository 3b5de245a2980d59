"""The steps of a check of which its kind says no better: what its form asks for."""

from collections.abc import Iterator
from typing import Any, Final

from weighworthy_service.checks.bench.card import Step
from weighworthy_service.checks.bench.words import named
from weighworthy_service.checks.kind import Kind
from weighworthy_service.checks.request import CheckForm
from weighworthy_service.wire.containers import ListOf, Part
from weighworthy_service.wire.request import OnPan

CAUTION: Final = (
    "A pass shows what this check looks at and nothing else: read what is said of it before you "
    "rely on it."
)
# What every check states: it is not read at the bench.
_OF_ALL: Final = frozenset(CheckForm().fields) | {"check"}


def plain_steps(kind: Kind, check: Any) -> Iterator[Step]:
    """What lies on the pan, and what to write down, in the order of the form."""
    for name, field in kind.form.fields.items():
        if name in _OF_ALL:
            continue
        if isinstance(field, OnPan):
            weights = check.circumstances.on(getattr(check, name, None) or ())
            text = f"Have {named(weights)} at hand: the load." if weights else ""
        elif isinstance(field, ListOf) and isinstance(field.inner, Part):
            counted = f"{field.minimum} or more" if field.minimum > 1 else "one or more"
            text = f"Write down {_words(name)}, {counted}; of each: {_members(field.inner)}."
        elif isinstance(field, Part):
            text = f"Write down {_words(name)}: {_members(field)}."
        else:
            text = f"Write down {_said(name, field)}."
        if text:
            yield text, ()


def _members(part: Part) -> str:
    return "; ".join(_said(name, field) for name, field in part.schema.fields.items())


def _said(name: str, field: Any) -> str:
    sentence = str(field.metadata.get("description", "")).rstrip(".")
    more = f" ({sentence[:1].lower()}{sentence[1:]})" if sentence else ""
    return f"{_words(name)}{more}{'' if field.required else ', if there is one'}"


def _words(name: str) -> str:
    return name.replace("_", " ")
