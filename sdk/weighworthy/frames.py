"""Frames of pandas and polars, judged row by row: the same frame back, with the added columns.

Needs ``weighworthy[frames]`` or the library that made the frame, whichever is there.
"""

import csv
import json
from collections.abc import Iterator, Mapping
from io import StringIO
from typing import TYPE_CHECKING, Any, TypeVar

from weighworthy.batches import CELLS, CSV, Batch, post
from weighworthy.client import Client
from weighworthy.errors import ProtocolError
from weighworthy.frame_cells import SINGLE, cells_of
from weighworthy.mapping_files import MappingLike, open_mapping
from weighworthy.table_answers import refuse_type
from weighworthy.table_counts import FIRST_ADDED
from weighworthy.tables import sent_profile

if TYPE_CHECKING:
    from weighworthy.profiles import ProfileLike

Frame = TypeVar("Frame")
SHEET = "frame"
# Text, for verdicts and reasons; numbers, for what is reckoned on with; and one yes or no.
FLAG = "ww_usable"
NUMBERS = ("ww_value", "ww_lower_limit", "ww_upper_limit", "ww_expanded_uncertainty", "ww_margin")


def evaluate(
    frame: Frame,
    mapping: MappingLike,
    client: Client | None = None,
    *,
    profile: "ProfileLike | None" = None,
) -> Frame:
    """The frame (pandas or polars) with the columns ``ww_…``: a verdict, or why there is none.

    Columns of the mapping are those of the frame; what the others hold does not matter. Text,
    numbers (``Decimal`` keeps its zeros, a float has none to keep; a float of 32 bits has the
    digits that it is shown with), times and missing values are understood as a workbook's are; a
    column of times that are all midnight is one of dates. Row numbers in reasons count as in a
    sheet: the first row of the frame is row 2, below its header. ``ww_value``, limits, uncertainty
    and margin are floats, ``ww_usable`` is a boolean, the rest is text; what does not apply is
    missing.

    Without ``client`` the service runs inside this process. Raises ``TypeError`` for something else
    than a frame, and for a column of the mapping with values that are no cells, such as durations
    or lists; ``ValueError`` for columns that are taken, `WeighworthyError` as `Client.evaluate`.
    """
    kind = type(frame).__module__.partition(".")[0]
    if kind not in ("pandas", "polars") or type(frame).__name__ != "DataFrame":
        raise TypeError(f"a DataFrame of pandas or polars is needed, not {type(frame).__name__}")
    names = [str(name) for name in frame.columns]  # type: ignore[attr-defined]
    taken = [name for name in names if name.startswith("ww_")]
    if taken:
        raise ValueError(f"the frame has columns {', '.join(taken)} already")
    values = _pandas_values if kind == "pandas" else _polars_values
    if client is None:
        with Client.embedded() as own:
            added = _judged(own, names, values(frame), mapping, profile)
    else:
        added = _judged(client, names, values(frame), mapping, profile)
    whole: Frame = (_with_pandas if kind == "pandas" else _with_polars)(frame, added)
    return whole


def _judged(
    client: Client,
    names: list[str],
    values: Iterator[list[Any]],
    mapping: MappingLike,
    profile: "ProfileLike | None",
) -> dict[str, list[Any]]:
    opened = open_mapping(mapping).completed(client._site).stating(header_row=1, sheet=SHEET)
    document, name = sent_profile(client, profile)
    query = {"columns": "added", **name}
    columns = [
        cells_of(column, name, wanted=wanted)
        for column, name, wanted in zip(values, names, opened.wants(names), strict=True)
    ]
    count = 0
    lines = [json.dumps([SHEET, 1, names], ensure_ascii=False)]
    for count, row in enumerate(zip(*columns, strict=True), start=1):
        # A row without anything in it is told apart from no row at all.
        lines.append(json.dumps([SHEET, count + 1, row], ensure_ascii=False))
    body = ("\n".join(lines) + "\n").encode("utf-8", "replace")

    def take(headers: Mapping[str, str], pieces: Iterator[bytes]) -> str:
        refuse_type(headers, CSV)
        return b"".join(pieces).decode("utf-8-sig")

    batch = Batch((body,), CELLS, CSV, opened.text, document, query)
    return _columns(post(client._stream, batch, take), count)


def _columns(text: str, count: int) -> dict[str, list[Any]]:
    delimiter = ";" if text.startswith("ww_sheet;") else ","
    header, *rows = csv.reader(StringIO(text, newline=""), delimiter=delimiter)
    if [row[1] for row in rows] != [str(number) for number in range(2, count + 2)]:
        raise ProtocolError(f"the answer is not whole: {len(rows)} rows came back of {count}")
    first = header.index(FIRST_ADDED)
    added: dict[str, list[Any]] = {}
    for place, name in enumerate(header[first:], start=first):
        texts = [row[place] or None for row in rows]
        if name in NUMBERS:
            added[name] = [None if t is None else float(t.replace(",", ".")) for t in texts]
        elif name == FLAG:
            added[name] = [None if t is None else t == "true" for t in texts]
        else:
            added[name] = list(texts)
    return added


def _pandas_values(frame: Any) -> Iterator[list[Any]]:
    import pandas as pd  # noqa: PLC0415 - only who has a frame of it needs it

    for place in range(frame.shape[1]):
        column = frame.iloc[:, place]
        short = SINGLE.get(str(column.dtype), _same)
        yield [
            None if gone else short(_plain(value, pd))
            for value, gone in zip(column.tolist(), column.isna().tolist(), strict=True)
        ]


def _plain(value: Any, pd: Any) -> Any:
    if isinstance(value, pd.Timestamp):
        return value.to_pydatetime(warn=False)
    kind = type(value)
    if kind.__module__ != "numpy" or getattr(value, "ndim", None) != 0:
        return value
    # A scalar of numpy, out of a column of objects.
    return SINGLE.get(kind.__name__, _same)(value.item())


def _polars_values(frame: Any) -> Iterator[list[Any]]:
    for column in frame.get_columns():
        short = SINGLE.get(str(column.dtype), _same)
        yield [None if value is None else short(value) for value in column.to_list()]


def _same(value: Any) -> Any:
    return value


def _dtype(name: str, number: Any, flag: Any, text: Any) -> Any:
    return number if name in NUMBERS else flag if name == FLAG else text


def _with_pandas(frame: Any, added: dict[str, list[Any]]) -> Any:
    import pandas as pd  # noqa: PLC0415

    columns = {
        name: pd.Series(
            values, index=frame.index, dtype=_dtype(name, "float64", "boolean", "string")
        )
        for name, values in added.items()
    }
    return pd.concat([frame, pd.DataFrame(columns, index=frame.index)], axis=1)


def _with_polars(frame: Any, added: dict[str, list[Any]]) -> Any:
    import polars as pl  # noqa: PLC0415

    return frame.with_columns(
        pl.Series(name, values, dtype=_dtype(name, pl.Float64, pl.Boolean, pl.String))
        for name, values in added.items()
    )
