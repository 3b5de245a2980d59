"""A first mapping for a table: what the service makes of its columns, with its doubts."""

import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from weighworthy.batches import CELLS, CSV, Batch, FileRange, post_to
from weighworthy.mapping_files import MappingFile
from weighworthy.results import frozen, read_json
from weighworthy.table_answers import refuse_type
from weighworthy.workbook import write_cells
from weighworthy.workbook_check import is_workbook

if TYPE_CHECKING:
    from weighworthy.client import Client

_JSON = "application/json"


@dataclass(frozen=True, slots=True)
class Draft:
    """A mapping to complete: its TOML text, and what is in doubt; ``notes`` on the file."""

    toml: str
    doubts: tuple[Any, ...]
    notes: tuple[str, ...] = ()


def draft_mapping(
    client: "Client",
    path: str | os.PathLike[str],
    *,
    check: str | None = None,
    sheet: str | None = None,
    reading: Mapping[str, str],
) -> Draft:
    """See `Client.draft_mapping`."""
    file = Path(path)

    def take(headers: Mapping[str, str], pieces: Iterator[bytes]) -> Any:
        refuse_type(headers, _JSON)
        return frozen(read_json(b"".join(pieces)))

    with TemporaryDirectory(prefix="weighworthy-") as folder:
        notes: tuple[str, ...] = ()
        table, form = file, CSV
        if is_workbook(file):
            table, form = Path(folder) / "cells", CELLS
            with table.open("wb") as out:
                notes = write_cells(file, out, MappingFile(None), sheet).notes
        whole = FileRange(table, 0, table.stat().st_size)
        query = {"check": check, "sheet": sheet if form == CELLS else None, **reading}
        stated = urlencode({name: text for name, text in query.items() if text is not None})
        address = "/v1/mappings/draft" + (f"?{stated}" if stated else "")
        said = post_to(client._stream, address, Batch((whole,), form, _JSON), take)
    return Draft(said["toml"], tuple(said["doubts"]), notes)
