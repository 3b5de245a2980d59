"""The JSON form of a mapping: which columns of a table make which fields of a check request.

What it means, and what contradicts itself or the check, is in `mapping`.
"""

from typing import Any, Final

from weighworthy_service.checks.registry import KINDS
from weighworthy_service.metrology.quantity import MAX_FRACTION_DIGITS
from weighworthy_service.tables.table_section import (
    DECIMAL_MARKS,
    DELIMITERS,
    ENCODINGS,
    THOUSANDS,
    SkipRows,
    TableSection,
)
from weighworthy_service.wire.containers import AnyObject, ListOf, MapOf, Part
from weighworthy_service.wire.fields import Count, OneOf, Strict, Text
from weighworthy_service.wire.form import Form
from weighworthy_service.wire.request import said

AS_IS: Final = "as-is"
WITHIN: Final = 500
# All rows of the checks that are being gathered are held in memory.
MAX_WITHIN: Final = 20_000
LONGEST_NAME: Final = 200
_KINDS: Final = tuple(kind.slug for kind in KINDS)


def _column(**kwargs: Any) -> Text:
    sentence = "Name of a column in the header row; #7 is the seventh column."
    return Text(LONGEST_NAME, metadata=said(sentence), **kwargs)


def _columns(maximum: int, sentence: str, **kwargs: Any) -> ListOf:
    return ListOf(_column(), minimum=1, maximum=maximum, metadata=said(sentence), **kwargs)


class AnyValue(Strict[Any]):
    """A JSON value, held against the field of the request later."""

    wanted = "a value"

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> Any:
        return value


class TextOr(Strict[Any]):
    """A text, or a longer form where the text is not enough. `loads_to` makes one of the other."""

    def __init__(self, text: Strict[str], longer: Strict[Any], key: str, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        longer.allow_none = False
        self._text, self._longer, self._key = text, longer, key
        self.wanted = f"{text.wanted}, or {longer.wanted},"

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> Any:
        if isinstance(value, str):
            read = self._text.deserialize(value)
            return {self._key: read} if self._key else (read,)
        if not isinstance(value, list if isinstance(self._longer, ListOf) else dict):
            raise self.make_error("invalid")
        return self._longer.deserialize(value)

    def keywords(self) -> dict[str, Any]:
        return {"anyOf": [self._text.keywords(), published(self._longer)]}


def published(field: Any, *, partly: bool = False) -> dict[str, Any]:
    """The JSON Schema of a field with all that is in it, for where nothing can be referred to.

    `partly`: of an object some members may come from elsewhere, so none is required.
    """
    keywords: dict[str, Any] = field.keywords()
    if "description" in field.metadata:
        keywords = {"description": field.metadata["description"], **keywords}
    if isinstance(field, ListOf):
        keywords["items"] = published(field.inner, partly=partly)
    elif isinstance(field, MapOf):
        keywords["additionalProperties"] = published(field.inner, partly=partly)
    elif isinstance(field, Part):
        members = {f.data_key or name: f for name, f in field.schema.load_fields.items()}
        keywords |= {
            "type": "object",
            "properties": {name: published(f, partly=partly) for name, f in members.items()},
            "required": [name for name, f in members.items() if f.required and not partly],
            "additionalProperties": False,
        }
    return _or_null(keywords) if field.allow_none else keywords


def _or_null(keywords: dict[str, Any]) -> dict[str, Any]:
    null = {"type": "null"}
    if "anyOf" in keywords:
        return {**keywords, "anyOf": [*keywords["anyOf"], null]}
    if "enum" in keywords or "const" in keywords:
        said = {name: keywords[name] for name in ("description",) if name in keywords}
        return {**said, "anyOf": [{k: v for k, v in keywords.items() if k not in said}, null]}
    return {**keywords, "type": [keywords["type"], "null"]} if "type" in keywords else keywords


class ColumnForm(Form):
    """A column, or several, and what has to be known to read them."""

    column = _column()
    columns = _columns(
        20, "Date and time in two columns; names of weights, or readings, in several."
    )
    unit = Text(16, metadata=said("Absent: that of the header, or of each cell."))
    decimals = Count(
        0,
        MAX_FRACTION_DIGITS,
        metadata=said("That every number has: zeros that a workbook dropped come back."),
    )
    format = TextOr(
        Text(100),
        ListOf(Text(100), minimum=1, maximum=10),
        "",
        metadata=said(
            'Of dates and times: like "%d.%m.%Y %H:%M", or "excel" or "excel-1904" for serial '
            "numbers, or a list of such. ISO 8601 is always taken."
        ),
    )
    separator = Text(8, metadata=said("Between names of weights, or readings, in one cell."))
    values = MapOf(
        AnyValue(),
        maximum=1000,
        metadata=said("What the texts of the column stand for; others are refused."),
    )


class CheckColumnForm(Form):
    """The column that tells the kind of check."""

    column = _column(required=True)
    values = MapOf(
        OneOf(_KINDS), maximum=200, required=True, metadata=said("Kind of check by text.")
    )
    skip = ListOf(
        Text(LONGEST_NAME), maximum=200, metadata=said("Texts of rows that are no check.")
    )


class SkipForm(Form):
    """Rows that are no checks, like means and totals, by the texts that a column has in them."""

    builds = SkipRows

    column = _column(required=True)
    texts = ListOf(
        Text(LONGEST_NAME),
        minimum=1,
        maximum=200,
        required=True,
        metadata=said('Whole texts, like "Mean"; case and blanks around them do not count.'),
    )


class TableForm(Form):
    """Statements about the table; what is absent is found out and told in the answer."""

    builds = TableSection

    encoding = OneOf(ENCODINGS)
    delimiter = OneOf(DELIMITERS)
    decimal = OneOf(DECIMAL_MARKS, metadata=said("The decimal mark of numbers."))
    thousands = OneOf(THOUSANDS, metadata=said("Between groups of three digits; never assumed."))
    header_row = Count(
        0, 1_000_000, metadata=said("Row with the names of the columns; 0: there is none.")
    )
    sheet = Text(LONGEST_NAME)
    stop_at = Text(
        LONGEST_NAME, metadata=said('A text in the first column that ends the table, like "Total".')
    )
    missing = ListOf(
        Text(LONGEST_NAME),
        maximum=50,
        metadata=said('Texts that stand for an empty cell, like "---".'),
    )
    skip = Part(SkipForm)

    def build(self, stated: dict[str, Any]) -> TableSection:
        return TableSection(**stated)


class GatherForm(Form):
    """Which rows make one check together."""

    by = _columns(10, "Columns that have the same texts in all rows of a check.", required=True)
    order = Text(
        LONGEST_NAME,
        metadata=said("A column of numbers that orders the rows; as-is: as they stand.")
        | {"default": AS_IS},
    )
    within = Count(
        1,
        MAX_WITHIN,
        metadata=said("All rows of a check lie within so many rows from its first.")
        | {"default": WITHIN},
    )
    complete = Count(1, 5000, metadata=said("How many rows every check has."))


class MappingForm(Form):
    """A whole mapping; loads to a dict of what is stated."""

    id = Text(
        64,
        pattern="[a-z0-9][a-z0-9-]{0,63}",
        metadata=said("Needed where a service keeps the mapping."),
    )
    title = Text(LONGEST_NAME)
    description = Text(4000)
    check = TextOr(
        OneOf(_KINDS),
        Part(CheckColumnForm),
        "kind",
        required=True,
        metadata=said("The kind of check, or the column that tells it."),
    )
    time_zone = Text(
        64,
        metadata=said(
            "Where times without offset were written: an IANA name.", examples=["Europe/Berlin"]
        ),
    )
    table = Part(TableForm)
    columns = MapOf(
        TextOr(_column(), Part(ColumnForm), "column"),
        maximum=500,
        required=True,
        metadata=said(
            "By field of the request: `initial.indication`, `labels.batch`, `points.0.zero` of the "
            "first point, `points.zero` where each row holds one point, `instrument` for the name "
            "of one in `instruments`."
        ),
    )
    constants = AnyObject(
        metadata=said("Request fields that all rows share; a cell that is not empty counts more.")
    )
    instruments = MapOf(
        AnyObject(), maximum=2000, metadata=said("By the names that the table uses for them.")
    )
    gather = Part(GatherForm)
