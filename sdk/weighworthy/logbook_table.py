"""A logbook whose checks are the rows of a table: what is sent, and remarks on the file."""

import codecs
import json
import os
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from weighworthy.batches import CELLS, CSV, Batch, FileRange
from weighworthy.errors import TableFileError
from weighworthy.logbook_files import Line, OpenBook, parsed
from weighworthy.mapping_files import MappingFile, MappingLike, open_mapping
from weighworthy.pieces import scan
from weighworthy.site import Site
from weighworthy.workbook import write_cells
from weighworthy.workbook_check import is_workbook

# What the service takes of a logbook in one document, in bytes.
MOST_BESIDE = 8 * 1024 * 1024
_UTF_16 = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)


@contextmanager
def table_batch(
    table: str | os.PathLike[str],
    mapping: MappingLike | None,
    logbook: bytes,
    site: Site,
    stated: Mapping[str, str | None],
) -> Iterator[tuple[Batch, tuple[str, ...]]]:
    """A logbook with its table, ready to be sent while the context lasts; and notes on the file.

    ``stated`` is said of the table in place of what the mapping says.

    Raises ``OSError``, `TableFileError`, ``ValueError`` for a mapping that is missing or only
    named, ``ImportError`` saying what to install for workbooks.
    """
    opened, path = _mapping(mapping).completed(site).stating(**stated), Path(table)
    with TemporaryDirectory(prefix="weighworthy-") as folder:
        if is_workbook(path):
            file, form = Path(folder) / "cells", CELLS
            with file.open("wb") as out:
                notes = write_cells(path, out, opened).notes
        else:
            file, form, notes = path, CSV, _on_encoding(path, opened)
        whole = FileRange(file, 0, file.stat().st_size)
        yield Batch((whole,), form, "application/json", opened.text, logbook=logbook), notes


def document_with_entries(
    document: Mapping[str, Any], book: OpenBook, written: Callable[[Line], bytes]
) -> bytes:
    """The whole of a logbook but its table as one JSON document, each entry as it was ``written``.

    Raises ``ValueError`` naming file and line of what is no JSON, and for more than goes with a
    table.
    """
    head = json.dumps(document, ensure_ascii=False, allow_nan=False).encode().removesuffix(b"}")
    parts = [head + (b', "entries": [' if document else b'"entries": [')]
    length = len(parts[0])
    # Lines of a file keep their numbers; the first is that of the document.
    for number, line in enumerate(book.entries, start=2):
        if isinstance(line, bytes):
            if line.isspace():
                continue
            parsed(line, f"{book.name}:{number}")
        entry = written(line).strip()
        parts.append(b",\n" + entry if len(parts) > 1 else entry)
        length += len(parts[-1])
        _refuse_too_long(length, book.name)
    parts.append(b"]}")
    _refuse_too_long(length + 2, book.name)
    return b"".join(parts)


def _refuse_too_long(length: int, name: str) -> None:
    if length > MOST_BESIDE:
        most = f"{MOST_BESIDE // 1024 // 1024} MiB"
        raise ValueError(
            f"{name}: what comes beside a table (entries, results, profile) takes at most {most}; "
            "leave out what is not asked about, or send all checks as lines, without a table"
        )


def _mapping(mapping: MappingLike | None) -> MappingFile:
    if mapping is None:
        raise ValueError("a table needs a mapping, which says what its columns mean")
    opened = open_mapping(mapping)
    if opened.name is not None:
        raise TableFileError(
            f"there is no file {opened.name!r}; beside a logbook a mapping is given by its file or "
            "document, not by its name"
        )
    return opened


def _on_encoding(path: Path, mapping: MappingFile) -> tuple[str, ...]:
    """What the service assumes of a file that does not tell, for it answers about the logbook."""
    odd = scan(path).odd_line is not None
    if not odd or "encoding" in mapping.table:
        return ()
    with path.open("rb") as file:
        if file.read(2) in _UTF_16:
            return ()
    said = "the file is not UTF-8 and was read as Windows-1252"
    return (f"{path.name}: {said}; state `encoding` in the mapping if that is wrong",)
