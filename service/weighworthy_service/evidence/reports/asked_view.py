"""What a request says, as facts and tables: which balance, which weights, which readings."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date, datetime
from decimal import Decimal
from typing import Any, Final, NamedTuple

from weighworthy_service.evidence.reports.figures import quantity
from weighworthy_service.evidence.reports.terms import FIELDS, called, value_text
from weighworthy_service.evidence.reports.words import Words, marked

Data = Mapping[str, Any]

_HAPPENED: Final = ("performed_at", "performed_by", "occasion", "method", "warm_up")
_ASKED: Final = ("heating", "basis", "displayed_loss")
_PLACES: Final = {name: place for place, name in enumerate(FIELDS)}
_PARTS: Final = {"initial": 0, "final": 1}
# In the balance's own heading.
_IN_HEADING: Final = ("id", "model", "site")
_WEIGHT: Final = (
    ("name", marked("Weight")),
    ("nominal", marked("Nominal")),
    ("weight_class", marked("Class")),
    ("conventional_mass", marked("Conventional mass")),
    ("expanded_uncertainty", marked("U")),
    ("coverage_factor", marked("k")),
    ("certificate", marked("Certificate")),
    ("calibrated_on", marked("Calibrated")),
    ("due_on", marked("Due")),
)
_AS_WRITTEN: Final = frozenset(
    {"name", "#", "certificate", "weight_class", "performed_by", "method", "id", "model", "site"}
)
_NUMBERS: Final = frozenset({"nominal", "conventional_mass", "expanded_uncertainty"})


class Table(NamedTuple):
    """Column titles, whether each holds numbers, and rows of texts; None: nothing stands there."""

    heads: list[str]
    numeric: list[bool]
    rows: list[list[str | None]]


def in_order(names: Iterable[str]) -> list[str]:
    """Names of fields as they stand on paper, whatever the order of a JSON object was."""
    return sorted(names, key=lambda name: (_PLACES.get(name, len(_PLACES)), name))


def facts(words: Words, request: Data) -> Iterator[tuple[str, str]]:
    """When, by whom, on which occasion and in which air."""
    for name in _HAPPENED:
        yield from _fact(words, name, request.get(name))
    environment = request.get("environment") or {}
    for name in in_order(environment):
        yield from _fact(words, name, environment[name])
    for name in _ASKED:
        yield from _fact(words, name, request.get(name))


def balance_facts(words: Words, request: Data) -> Iterator[tuple[str, str]]:
    """What is stated of the balance, but for its names."""
    instrument = request["instrument"]
    for name in in_order(instrument):
        if name not in _IN_HEADING:
            yield from _fact(words, name, instrument[name])


def weights(words: Words, request: Data) -> Table:
    """The weights that lay on the pan, in the order of their use; columns that say nothing go."""
    declared = request["weights"]
    used = [{"name": name, **declared[name]} for name in _used(request) if name in declared]
    return _table(
        [(name, words.text(title)) for name, title in _WEIGHT],
        used,
        lambda name, value: _cell(words, name, value),
        _NUMBERS,
    )


def readings(words: Words, request: Data, results: Data) -> list[Table]:
    """Every list of readings, each with what was found of them; then single ones as one list."""
    tables = []
    for name, rows in request.items():
        if name != "series" and _is_rows(rows):
            tables.append(_reading_table(words, rows, _found(results.get(name))))
    single = [
        {"stage": name, **part}
        for name, part in sorted(request.items(), key=lambda one: _PARTS.get(one[0], len(_PARTS)))
        if isinstance(part, Mapping) and "load" in part
    ]
    if single:
        tables.append(_reading_table(words, single, {}))
    return tables


def _reading_table(words: Words, rows: Sequence[Data], found: Mapping[int, Data]) -> Table:
    names = in_order({name for row in rows for name in row})
    shown = [{"#": str(i + 1), **row} for i, row in enumerate(rows)]
    numeric = frozenset(names) - {"stage", "load", "direction", "stable"} | {"error"}
    columns = [("#", "#"), *((name, called(words, FIELDS, name)) for name in names)]
    if found:
        columns.append(("error", called(words, FIELDS, "error")))
        for i, row in enumerate(shown):
            row["error"] = (found.get(i) or {}).get("error")
    return _table(columns, shown, lambda name, value: _cell(words, name, value), numeric)


def _found(rows: Any) -> dict[int, Data]:
    if not _is_rows(rows):
        return {}
    return {row["index"]: row for row in rows if isinstance(row.get("index"), int)}


def _table(
    columns: Sequence[tuple[str, str]],
    rows: Sequence[Data],
    cell: Any,
    numeric: frozenset[str],
) -> Table:
    kept = [
        (name, title) for name, title in columns if any(row.get(name) is not None for row in rows)
    ]
    return Table(
        [title for _, title in kept],
        [name in numeric for name, _ in kept],
        [[cell(name, row.get(name)) for name, _ in kept] for row in rows],
    )


def _fact(words: Words, name: str, value: Any) -> Iterator[tuple[str, str]]:
    text = _cell(words, name, value)
    if text is not None:
        yield called(words, FIELDS, name), text


def _cell(words: Words, name: str, value: Any) -> str | None:
    """A stated value: quantity, time, date, number, word, list of weights, or several of these."""
    if value is None:
        return None
    if (known := value_text(words, value)) is not None:
        return known
    if isinstance(value, Mapping):
        return _several(words, name, value)
    if isinstance(value, list | tuple):
        return " + ".join(map(str, value))
    return _number(words, value) if isinstance(value, int | float) else _text(words, name, value)


def _number(words: Words, value: float) -> str:
    """A count, or what was found of readings: a mass in g."""
    if isinstance(value, int):
        return words.number(value)
    milligrams = Decimal(repr(value)).scaleb(3)
    return f"{words.number(milligrams)}\N{NO-BREAK SPACE}mg"


def _text(words: Words, name: str, value: Any) -> str:
    if name == "performed_at":
        return words.instant(datetime.fromisoformat(value))
    if name.endswith("_on"):
        return words.day(date.fromisoformat(str(value)))
    return str(value) if name in _AS_WRITTEN else quantity(words, value)


def _several(words: Words, name: str, value: Data) -> str:
    if name == "eccentricity" and {"difference", "load"} <= value.keys():
        difference, load = (quantity(words, value[key]) for key in ("difference", "load"))
        return words.text("{difference} at {load}", difference=difference, load=load)
    if name == "hot_zero_correction" and {"value", "standard_uncertainty"} <= value.keys():
        shift, u = (quantity(words, value[key]) for key in ("value", "standard_uncertainty"))
        return f"{shift}, u = {u}"
    return ", ".join(f"{key} {_cell(words, key, one)}" for key, one in value.items())


def _is_rows(rows: Any) -> bool:
    return (
        isinstance(rows, list | tuple) and bool(rows) and all(isinstance(r, Mapping) for r in rows)
    )


def _used(request: Data) -> list[str]:
    parts = [part for part in request.values() if isinstance(part, Mapping)]
    parts += [row for rows in request.values() if _is_rows(rows) for row in rows]
    return list(dict.fromkeys(name for part in parts for name in part.get("load") or ()))
