"""What a request says, as facts and tables: which balance, which weights, which readings."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date, datetime
from typing import Any, Final, NamedTuple

from weighworthy_service.checks.loaded import weights_used
from weighworthy_service.checks.pages import marked
from weighworthy_service.checks.request import CheckForm
from weighworthy_service.evidence.reports.figures import quantity
from weighworthy_service.evidence.reports.of_kind import (
    Members,
    OfKind,
    figure_text,
    members,
    settled,
)
from weighworthy_service.wire.fields import Count, PureNumber, Quantity, Text

Data = Mapping[str, Any]

_HAPPENED: Final = ("performed_at", "performed_by", "occasion", "method", "warm_up")
# What every request states, whatever its kind.
_COMMON: Final = frozenset(members(CheckForm())) | {"check"}
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
_NUMERIC: Final = (Quantity, PureNumber, Count)
# A list for a drawing.
_SERIES: Final = "series"
# So many values stand in one cell; of more, the first few and how many they are.
_MOST: Final = 12
_FIRST: Final = 5


class Table(NamedTuple):
    """Column titles, whether each holds numbers, and rows of texts; None: nothing stands there."""

    heads: list[str]
    numeric: list[bool]
    rows: list[list[str | None]]


def in_order(names: Iterable[str], order: Members) -> list[str]:
    """Names of fields as the form has them, whatever the order of a JSON object was."""
    places = {name: place for place, name in enumerate(order)}
    return sorted(names, key=lambda name: (places.get(name, len(places)), name))


def facts(of: OfKind, request: Data) -> Iterator[tuple[str, str]]:
    """When, by whom, on which occasion and in which air; then what else the kind asks for."""
    for name in _HAPPENED:
        yield from _fact(of, name, request.get(name))
    environment = request.get("environment") or {}
    for name in in_order(environment, members(of.members.get("environment"))):
        yield from _fact(of, name, environment[name])
    own = (name for name in in_order(request, of.members) if name not in _COMMON)
    for name in dict.fromkeys((*of.pages.first, *own)):
        yield from _own(of, name, request.get(name))


def balance_facts(of: OfKind, request: Data) -> Iterator[tuple[str, str]]:
    """What is stated of the balance, but for its names."""
    instrument = request["instrument"]
    for name in in_order(instrument, members(of.members.get("instrument"))):
        if name not in _IN_HEADING:
            yield from _fact(of, name, instrument[name])


def weights(of: OfKind, request: Data) -> Table:
    """The weights that lay on the pan, in the order of their use; columns that say nothing go."""
    declared = request.get("weights") or {}
    used = [{"name": name, **declared[name]} for name in weights_used(request) if name in declared]
    columns = [(name, of.words.text(title)) for name, title in _WEIGHT]
    return _table(columns, used, lambda name, value: _cell(of, name, value), _NUMBERS)


def readings(of: OfKind, request: Data, results: Data) -> list[Table]:
    """Every list of readings, each with what was found of them; then single ones as one list, and
    lists that stand in parts of the request."""
    own = [name for name in in_order(request, of.members) if name not in _COMMON]
    lists = [(name, request[name], of.members.get(name)) for name in own if name != _SERIES]
    tables = [
        _reading_table(of, rows, members(form), _found(results.get(name)))
        for name, rows, form in lists
        if _is_rows(rows)
    ]
    parts = [(name, part, form) for name, part, form in lists if isinstance(part, Mapping)]
    single = [{"stage": name, **part} for name, part, _ in parts if "load" in part]
    if single:
        forms = [members(form) for _, part, form in parts if "load" in part]
        tables.append(_reading_table(of, single, {"stage": None} | dict(forms[0]), {}))
    for _, part, form in parts:
        inner = members(form)
        tables += [
            _reading_table(of, part[name], members(inner.get(name)), {})
            for name in in_order(part, inner)
            if name != _SERIES and _is_rows(part[name])
        ]
    return tables


def _reading_table(
    of: OfKind, rows: Sequence[Data], order: Members, found: Mapping[int, Data]
) -> Table:
    stated = {name for row in rows for name in row if not _is_rows(row[name])}
    shown = [{"#": str(i + 1), **row} for i, row in enumerate(rows)]
    numeric = {name for name in stated if isinstance(order.get(name), _NUMERIC)}
    first = [name for name in of.pages.first if name in stated]
    ordered = [*first, *in_order(stated - set(first), order)]
    columns = [("#", "#"), *((name, of.field(name)) for name in ordered)]
    # Behind what was stated, even where a figure that was found has the same name.
    for figure in of.pages.found if found else ():
        key = f"found {figure.name}"
        columns.append((key, of.words.text(figure.title)))
        numeric.add(key)
        for i, row in enumerate(shown):
            value = (found.get(i) or {}).get(figure.name)
            if isinstance(value, int | float):
                row[key] = figure_text(of.words, settled(value), figure.unit)

    def cell(name: str, value: Any) -> str | None:
        return value if name.startswith("found ") else _cell(of, name, value, order.get(name))

    return _table(columns, shown, cell, frozenset(numeric))


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


def _own(of: OfKind, name: str, value: Any) -> Iterator[tuple[str, str]]:
    """A fact that only this kind asks for; of an object without a load, each of its members."""
    form = of.members.get(name)
    if isinstance(value, Mapping):
        inner = members(form)
        for below in in_order(value, inner) if "load" not in value else ():
            for title, text in _fact(of, below, value[below], inner.get(below)):
                yield f"{of.field(name)}: {title}", text
    else:
        yield from _fact(of, name, value, form)


def _fact(of: OfKind, name: str, value: Any, form: Any = None) -> Iterator[tuple[str, str]]:
    text = None if _is_rows(value) else _cell(of, name, value, form)
    if text is not None:
        yield of.field(name), text


def _cell(of: OfKind, name: str, value: Any, form: Any = None) -> str | None:
    """A stated value: quantity, time, date, number, word, list of weights, or several of these."""
    if value is None:
        return None
    if isinstance(value, Mapping):
        return _several(of, name, value)
    if isinstance(value, list | tuple):
        return " + ".join(map(str, value)) if name == "load" else _listed(of, name, value)
    free = isinstance(form, Text) and name not in _AS_WRITTEN
    if not free and (known := of.value(value)) is not None:
        return known
    if isinstance(value, int | float):
        return of.words.number(value)
    return str(value) if free else _text(of, name, value)


def _listed(of: OfKind, name: str, values: Sequence[Any]) -> str:
    """Values one after the other; of many, the first."""
    shown = values if len(values) <= _MOST else values[:_FIRST]
    text = ", ".join(_cell(of, name, value) or "" for value in shown)
    return text if len(shown) == len(values) else f"{text}, … (n = {len(values)})"


def _text(of: OfKind, name: str, value: Any) -> str:
    if name == "performed_at":
        return of.words.instant(datetime.fromisoformat(value))
    if name.endswith("_on"):
        return of.words.day(date.fromisoformat(str(value)))
    return str(value) if name in _AS_WRITTEN else quantity(of.words, value)


def _several(of: OfKind, name: str, value: Data) -> str:
    if name == "eccentricity" and {"difference", "load"} <= value.keys():
        difference, load = (quantity(of.words, value[key]) for key in ("difference", "load"))
        return of.words.text("{difference} at {load}", difference=difference, load=load)
    if name == "hot_zero_correction" and {"value", "standard_uncertainty"} <= value.keys():
        shift, u = (quantity(of.words, value[key]) for key in ("value", "standard_uncertainty"))
        return f"{shift}, u = {u}"
    return ", ".join(f"{key} {_cell(of, key, one)}" for key, one in value.items())


def _is_rows(rows: Any) -> bool:
    return (
        isinstance(rows, list | tuple) and bool(rows) and all(isinstance(r, Mapping) for r in rows)
    )
