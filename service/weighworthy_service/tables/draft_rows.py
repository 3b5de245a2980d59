"""Which rows of a table are which kind of check, or none, in the draft of a mapping."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from weighworthy_service.checks.registry import KINDS
from weighworthy_service.tables.draft_text import key_text, listed_text, quoted
from weighworthy_service.tables.looks import Look
from weighworthy_service.tables.words import KIND, SUMMARY, named_kind

_MOST_KINDS: Final = 20


@dataclass(frozen=True, slots=True)
class Told:
    """A column that tells the kind of check, by its texts and what each seems to name."""

    look: Look
    by_text: Mapping[str, str | None]

    @property
    def kinds(self) -> tuple[str, ...]:
        """The kinds that are named, in their usual order."""
        return tuple(kind.slug for kind in KINDS if kind.slug in self.by_text.values())

    @property
    def toml(self) -> str:
        """What a mapping has under `check`."""
        named = [(text, slug) for text, slug in self.by_text.items() if slug]
        values = ", ".join(f"{key_text(text)} = {quoted(slug)}" for text, slug in named)
        others = [text for text, slug in self.by_text.items() if not slug]
        skip = f", skip = {listed_text(others)}" if others else ""
        return f"{{ column = {quoted(self.look.name)}, values = {{ {values} }}{skip} }}"

    @property
    def doubt(self) -> str:
        """What a person has to look at."""
        return (
            f"the column {self.look.title!r} seems to tell the kind of check: see which of its "
            "texts stand for which, and which hold no check"
        )


def kinds_by_column(columns: Sequence[Look]) -> Told | None:
    """The first column of which texts name several kinds, or one besides others under a title that
    speaks of kinds."""
    for look in columns:
        if look.sort not in ("choice", "text") or len(look.texts) > _MOST_KINDS:
            continue
        texts = {text.casefold(): text for text in reversed(look.texts)}
        found = {text: named_kind(text) for text in reversed(texts.values())}
        named = {slug for slug in found.values() if slug}
        if len(named) > 1 or (named and len(found) > 1 and KIND.search(look.title)):
            return Told(look, found)
    return None


def summaries(columns: Sequence[Look]) -> list[tuple[Look, str]]:
    """The first column in which rows seem to sum up others, and what could be stated of them."""
    for look in columns:
        texts = [text for text in look.texts if SUMMARY.fullmatch(text)]
        if texts and len(texts) < len(look.texts):
            toml = f"skip = {{ column = {quoted(look.name)}, texts = {listed_text(texts)} }}"
            return [(look, f"do rows with these texts sum up others, and hold no check? {toml}")]
    return []
