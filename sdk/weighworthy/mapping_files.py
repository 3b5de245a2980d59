"""Mapping documents as the client meets them: files, completed from the site, pinned to a file.

What a mapping means is the service's to say. Here it is only read for what reading a file needs:
the names of columns, the sheet, and whether rows belong together.
"""

import json
import os
import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path
from typing import Any, TypeAlias

from weighworthy.errors import TableFileError
from weighworthy.site import Site

MappingLike: TypeAlias = str | os.PathLike[str] | Mapping[str, Any]
_ID = re.compile("[a-z0-9][a-z0-9-]{0,63}")


@dataclass(frozen=True, slots=True)
class MappingFile:
    """A mapping to be sent: ``text`` as it was written, or a name that the service knows.

    ``document`` is what the text says, empty where it cannot be read: the service tells why.
    """

    text: bytes | None
    document: Mapping[str, Any] = field(default_factory=dict, repr=False)
    name: str | None = None

    @property
    def table(self) -> Mapping[str, Any]:
        """The statements about the table."""
        return _table(self.document.get("table"))

    @property
    def columns(self) -> tuple[str, ...]:
        """The names of all columns that it wants, each once."""
        found: list[Any] = []
        for entry in _table(self.document.get("columns")).values():
            found += _names(entry)
        found += _names(self.document.get("check"), text=False)
        found.append(_table(self.table.get("skip")).get("column"))
        gather = _table(self.document.get("gather"))
        by = gather.get("by")
        found += by if isinstance(by, list) else [by]
        found.append(gather.get("order") if gather.get("order") != "as-is" else None)
        return tuple(dict.fromkeys(name for name in found if isinstance(name, str)))

    def wants(self, header: Sequence[str]) -> list[bool]:
        """Which of the columns with these names it may want; all, if it cannot be read here."""
        wanted = {column_key(name) for name in self.columns}
        return [
            not self.document or column_key(name) in wanted or f"#{number}" in wanted
            for number, name in enumerate(header, start=1)
        ]

    @property
    def cuttable(self) -> bool:
        """Whether rows may be judged without those before them."""
        known = bool(self.document) and "gather" not in self.document
        return known and "stop_at" not in self.table

    def stating(self, **table: Any) -> "MappingFile":
        """With these statements about the table in place of its own."""
        stated = {name: value for name, value in table.items() if value is not None}
        if not stated:
            return self
        if self.name is not None:
            raise TableFileError(
                f"the mapping {self.name!r} lies at the service and cannot be changed from here; "
                "give it as a file to state how the table is to be read"
            )
        return self._with({**self.document, "table": {**self.table, **stated}})

    def completed(self, site: Site) -> "MappingFile":
        """With weights, instruments and time zone of the site where it has none of that name."""
        document = dict(self.document)
        if not document or self.name is not None:
            return self
        constants = _table(document.get("constants"))
        weights = {**site.weights, **_table(constants.get("weights"))}
        instruments = {**site.instruments, **_table(document.get("instruments"))}
        if "instrument" in _table(document.get("columns")) and site.instruments:
            document["instruments"] = instruments
        if site.weights:
            document["constants"] = {**constants, "weights": weights}
        if site.time_zone is not None:
            document.setdefault("time_zone", site.time_zone)
        return self if document == self.document else self._with(document)

    def _with(self, document: Mapping[str, Any]) -> "MappingFile":
        text = json.dumps(document, ensure_ascii=False, default=_json).encode()
        return replace(self, text=text, document=document)


def open_mapping(mapping: MappingLike) -> MappingFile:
    """A mapping from a file (TOML, or JSON by its name), a document, or the name of one that the
    service knows. Raises ``OSError``."""
    if isinstance(mapping, Mapping):
        return MappingFile(None)._with(mapping)
    path = Path(mapping)
    if isinstance(mapping, str) and _ID.fullmatch(mapping) and not path.exists():
        return MappingFile(None, name=mapping)
    raw = path.read_bytes().removeprefix(b"\xef\xbb\xbf")
    try:
        is_json = raw.lstrip()[:1] == b"{"
        document = json.loads(raw) if is_json else tomllib.loads(raw.decode())
    except (ValueError, RecursionError):
        document = {}
    return MappingFile(raw, document if isinstance(document, dict) else {})


def column_key(name: str) -> str:
    """What of the name of a column counts: no case, no blanks, no quotation marks around it."""
    return "".join(name.split()).casefold().strip("\"'“”„‘’")


def _names(entry: Any, *, text: bool = True) -> list[Any]:
    if isinstance(entry, str):
        return [entry] if text else []
    columns = _table(entry).get("columns")
    return [_table(entry).get("column"), *(columns if isinstance(columns, list) else [])]


def _table(value: Any) -> Mapping[str, Any]:
    return value if isinstance(value, Mapping) else {}


def _json(value: Any) -> Any:
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Mapping):
        return dict(value)
    raise TypeError(f"a mapping holds no {type(value).__name__}")
