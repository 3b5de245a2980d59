"""How the numbers of a table are written, in the draft of a mapping: what is sure, what is not."""

import re
from collections.abc import Sequence
from dataclasses import dataclass

from weighworthy_service.tables.decimal_mark import vote
from weighworthy_service.tables.draft_text import quoted
from weighworthy_service.tables.looks import Look
from weighworthy_service.tables.table_section import DECIMAL_MARKS


@dataclass(frozen=True, slots=True)
class Numbers:
    """Lines of `[table]`, and the sentence of a doubt about them, None without one."""

    lines: tuple[str, ...] = ()
    doubt: str | None = None


def numbers_of(columns: Sequence[Look]) -> Numbers:
    """What columns of numbers have in common."""
    decided = [mark for mark in DECIMAL_MARKS if any(mark in look.marks for look in columns)]
    if len(decided) > 1:
        one_each = " and ".join(
            f"{_written(columns, mark)} with a {name}"
            for mark, name in ((".", "point"), (",", "comma"))
        )
        doubt = f"numbers are written in two ways, {one_each}: state which `decimal` is right"
        return Numbers(('# decimal = ","',), doubt)
    line = f"decimal = {quoted(decided[0])}" if decided else None
    two_faced = [
        (look, text)
        for look in columns
        if look.marks == {"either"}
        for text in look.texts
        if vote(text, None) == "either" and not (decided and decided[0] in text)
    ]
    if not two_faced:
        return Numbers(() if line is None else (line,))
    look, text = two_faced[0]
    whole, mark, rest = _parts(text)
    told = f"{text!r} in {look.title!r} can be read as {whole}.{rest} or as {whole}{rest}"
    if line is not None:
        doubt = f"{told}: state `thousands` if it is the latter, otherwise mend the file"
        return Numbers((line, f"# thousands = {quoted(mark)}"), doubt)
    proposed = f"decimal = {quoted(mark)}"
    return Numbers((proposed,), f"{told}: `{proposed}` says the former, confirm it")


def _written(columns: Sequence[Look], mark: str) -> str:
    look = next(look for look in columns if mark in look.marks)
    text = next(text for text in look.texts if vote(text, None) == mark)
    return f"{text!r} in {look.title!r}"


def _parts(text: str) -> tuple[str, str, str]:
    """The digits before the mark of a number with two readings, the mark, and those behind it."""
    found = re.search("([0-9]+)([.,])([0-9]+)", text)
    assert found is not None  # noqa: S101  otherwise it had not two readings
    return found[1], found[2], found[3]
