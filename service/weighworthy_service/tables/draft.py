"""The first mapping of a table: what its columns look like, as TOML with all doubts as comments.

It is a beginning for a person, who knows the weights and the balances. Nothing is judged by it as
it stands: what no table shows is left open, and a mapping that leaves it open is refused.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import islice
from typing import Final

from weighworthy_service.checks.registry import BY_SLUG
from weighworthy_service.tables.draft_columns import Drafted, drafted, gathered
from weighworthy_service.tables.draft_rows import kinds_by_column, summaries
from weighworthy_service.tables.draft_text import comment, key_text, listed_text, quoted
from weighworthy_service.tables.looks import looks
from weighworthy_service.tables.request_fields import UnknownField, find_field, required_fields
from weighworthy_service.tables.table import Table
from weighworthy_service.tables.words import likely_check, lists_of, usual_check
from weighworthy_service.wire.containers import ListOf

_ROWS: Final = 1000
_MOST_INSTRUMENTS: Final = 50
_SHOWN: Final = 3


@dataclass(frozen=True, slots=True)
class Doubt:
    """What a person has to decide; `column` as a mapping addresses it, None: about the table."""

    column: str | None
    detail: str


@dataclass(frozen=True, slots=True)
class Draft:
    """A mapping to be completed, as TOML, and everything that was doubtful."""

    toml: str
    doubts: tuple[Doubt, ...]


def draft(table: Table, check: str | None = None) -> Draft:
    """The draft for a table that was opened without a mapping.

    Args:
        check: the kind of check, if known.
    """
    rows = list(islice((row for row in table.rows() if isinstance(row, tuple)), _ROWS))
    columns = looks(table.header, rows)
    titles = "; ".join(look.title for look in columns)
    told = None if check else kinds_by_column(columns)
    kinds = told.kinds if told else (check or likely_check(titles) or usual_check(),)
    others = [look for look in columns if told is None or look is not told.look]
    made = drafted(others, kinds)
    above = [Doubt(None, said) for said in _table_doubts(table, titles, check or told, made)]
    if told:
        above.append(Doubt(told.look.name, told.doubt))
    summed = summaries(others)
    doubts = [*above, *(Doubt(None, said) for said in (made.numbers.doubt,) if said)]
    doubts += [Doubt(look.name, said) for look, said in summed]
    doubts += [Doubt(look.name, said) for entry in made.entries for look, said in entry.doubts]
    lines = [
        "# The first mapping of a table, from what its columns look like. Complete it: lines that",
        "# begin with `# doubt` ask for a decision, and what no table shows has to be filled in.",
        "",
        'id = "my-export"',
        f"check = {told.toml if told else quoted(kinds[0])}",
        *(comment(f"doubt: {doubt.detail}") for doubt in above),
        *(['# time_zone = "Europe/Berlin"'] if made.local_times else []),
        *_table(table, made, [said for _, said in summed]),
        *_columns(made),
        *_constants(kinds, made),
        *_gather(kinds, made),
    ]
    return Draft("\n".join(lines) + "\n", tuple(doubts))


def _table_doubts(table: Table, titles: str, known: object, made: Drafted) -> Iterator[str]:
    read_as = table.read_as
    if not known:
        sure = "from the titles of the columns" if likely_check(titles) else "nothing tells it"
        yield f"the kind of check is a guess ({sure})"
    for name in ("encoding", "delimiter", "header_row"):
        if name in read_as["assumed"]:
            value = read_as[name]
            yield f"{name} {value!r} is assumed, for nothing decides it; state it in [table]"
    if made.local_times:
        yield "times have no offset to UTC; state the `time_zone` in which they were written"


def _table(table: Table, made: Drafted, summed: Sequence[str]) -> Iterator[str]:
    read_as = table.read_as
    yield ""
    yield "[table]"
    for name in ("encoding", "delimiter", "header_row"):
        if read_as[name] is not None:
            value = read_as[name] if name == "header_row" else quoted(read_as[name])
            yield f"# {name} = {value}"
    if read_as["sheet"] is not None:
        yield f"sheet = {quoted(read_as['sheet'])}"
    if made.numbers.doubt is not None:
        yield comment(f"doubt: {made.numbers.doubt}")
    yield from made.numbers.lines
    yield from (comment(f"doubt: {said}") for said in summed)
    if made.missing:
        yield f"# doubt: do these stand for an empty cell? missing = {listed_text(made.missing)}"


def _columns(made: Drafted) -> Iterator[str]:
    yield ""
    yield "[columns]"
    for entry in made.entries:
        for _, said in entry.doubts:
            yield comment(f"doubt: {said}")
        yield entry.toml
    if made.rest:
        yield "# Not used; one that you want to see again in the answers can be a label."
    for look in made.rest:
        if look.sort == "empty":
            yield comment(f"{quoted(look.name)} is empty")
            continue
        examples = ", ".join(quoted(text) for text in look.texts[:_SHOWN])
        label = key_text(f"labels.{look.title or look.name}"[:60])
        yield comment(f"{label} = {quoted(look.name)}  # {look.sort}: {examples}")


def _constants(kinds: Sequence[str], made: Drafted) -> Iterator[str]:
    fields = {entry.field for entry in made.entries}
    lists = {name for kind in kinds for name in lists_of(BY_SLUG[kind])}
    yield ""
    yield "[constants]"
    for path in dict.fromkeys(path for kind in kinds for path in required_fields(BY_SLUG[kind])):
        name = ".".join(map(str, path))
        if name == "weights":
            yield "# Fill in: the weights by the names that the loads use."
            yield '# weights.W1 = { nominal = "10 g", weight_class = "OIML F1" }'
        elif path[0] == "instrument":
            if "instrument" not in fields:
                yield "# Fill in: what is known of the balance, at least its scale interval."
                yield '# instrument = { id = "…", scale_interval = "1 mg" }'
        elif name not in fields and path[0] not in lists:
            yield f"# Fill in: {name}, here or from a column."
            yield f"# {name} = {_example(kinds, name)}"
        elif not any(field == name or field.startswith(f"{name}.") for field in fields):
            yield f"# Fill in: {name}, from a column in [columns]."
    instruments = made.instruments
    for name in instruments[:_MOST_INSTRUMENTS]:
        yield ""
        yield f"[instruments.{quoted(name)}]"
        yield '# Fill in: scale_interval = "1 mg"'
    if len(instruments) > _MOST_INSTRUMENTS:
        yield f"# and {len(instruments) - _MOST_INSTRUMENTS} more"


def _example(kinds: Sequence[str], name: str) -> str:
    """How a field that is to be filled in may be written."""
    for kind in kinds:
        try:
            form = find_field(BY_SLUG[kind], name).form
        except UnknownField:
            continue
        if isinstance(form, ListOf):
            return '["W1"]'
        return quoted(next(iter(form.keywords().get("examples", ())), "…"))
    return quoted("…")


def _gather(kinds: Sequence[str], made: Drafted) -> Iterator[str]:
    by, order = gathered(made)
    if not any(lists_of(BY_SLUG[kind]) for kind in kinds):
        return
    yield ""
    yield "[gather]"
    yield "# doubt: the columns that have the same texts in all rows of one check, and in no other"
    yield f"by = {listed_text(by)}" if by else '# by = ["…"]'
    yield "# doubt: the column of numbers that orders the rows of a check; without, as they stand"
    yield f"order = {quoted(order)}" if order else '# order = "…"'
    yield "# doubt: how many rows every check has; then none is judged of which rows are missing"
    yield "# complete = 11"


def as_json(made: Draft) -> Mapping[str, object]:
    """The draft as an answer."""
    doubts = [{"column": doubt.column, "detail": doubt.detail} for doubt in made.doubts]
    return {"toml": made.toml, "doubts": doubts}
