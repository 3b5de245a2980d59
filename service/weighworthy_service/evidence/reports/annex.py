"""Every figure of an answer with all its digits, as the annex of a report lists them."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any, Final, NamedTuple

from weighworthy_service.checks.pages import marked
from weighworthy_service.evidence.reports.words import Words

_OF_MASSES: Final = marked("Masses in g, losses in %. Figures above are these, rounded.")
_OF_ALL: Final = marked(
    "Masses in g, losses in %, differences of temperature in K, times in s. Figures above are "
    "these, rounded."
)
# By which of its texts a row is told from others.
_NAMES = ("source", "fault", "direction", "verdict")


class Group(NamedTuple):
    """Figures under one heading: single ones by name, then rows under column heads."""

    title: str
    single: list[tuple[str, str]]
    heads: list[str]
    rows: list[list[str]]


def units_note(words: Words, units: Iterable[str]) -> str:
    """In which units figures stand, by those of the criteria."""
    note = _OF_MASSES if set(units) <= {"g", "%"} else _OF_ALL
    return words.text(note)


def annex(words: Words, answer: Mapping[str, Any]) -> list[Group]:
    """Criteria with their budgets, then what was computed besides; in the order of the answer."""
    groups: list[Group] = []
    for criterion in answer["criteria"]:
        groups += _groups(words, criterion["key"], criterion)
    groups += _groups(words, "results", answer["results"])
    return [group for group in groups if group.single or group.rows]


def _groups(words: Words, title: str, values: Mapping[str, Any]) -> Iterator[Group]:
    """The single figures of an object, then each of its lists and objects."""
    single = [(name, words.number(v)) for name, v in values.items() if _is_number(v)]
    yield Group(title, single, [], [])
    for name, value in values.items():
        below = f"{title}.{name}"
        if isinstance(value, Mapping):
            yield from _groups(words, below, value)
        elif isinstance(value, Sequence) and not isinstance(value, str):
            yield from _listed(words, below, value)


def _listed(words: Words, title: str, values: Sequence[Any]) -> Iterator[Group]:
    if not all(isinstance(value, Mapping) for value in values):
        single = [(f"[{i}]", words.number(v)) for i, v in enumerate(values) if _is_number(v)]
        yield Group(title, single, [], [])
        return
    numbers = [name for row in values for name, value in row.items() if _is_number(value)]
    heads = [
        name
        for name in dict.fromkeys(name for row in values for name in row)
        if name in numbers or name in _NAMES
    ]
    rows = [[_shown(words, row.get(name)) for name in heads] for row in values]
    yield Group(title, [], heads, rows if numbers else [])
    for i, row in enumerate(values):
        for name, value in row.items():
            if isinstance(value, Sequence) and not isinstance(value, str):
                yield from _listed(words, f"{title}[{i}].{name}", value)


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _shown(words: Words, value: Any) -> str:
    if _is_number(value):
        return words.number(value)
    return value if isinstance(value, str) else "–"
