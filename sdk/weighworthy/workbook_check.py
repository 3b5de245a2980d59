"""Is a file a workbook that can be opened without harm? Looked at before anything is unpacked.

A workbook is a zip archive of XML (ECMA-376 part 2), and whoever made it decides how much memory it
takes to read one. Only what the archive's directory says is used here, and the first bytes.
"""

import zipfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from weighworthy.errors import TableFileError
from weighworthy.workbook_seen import Seen, look_through

# A million rows of twelve columns unpack to about half of this.
MOST_BYTES = 1024 * 1024 * 1024
MOST_ENTRIES = 2000
# XML of cells packs to a fifth or a twentieth; only what is made to explode packs to a hundredth.
MOST_RATIO = 150
_SMALL = 1024 * 1024
_TYPES = "[Content_Types].xml"
_OLE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"


@dataclass(frozen=True, slots=True)
class Package:
    """What the archive of a workbook holds: notes for people, whether any cell reckons, and what
    was seen of the XML of each sheet, by its name in the archive."""

    notes: tuple[str, ...]
    formulas: bool
    sheets: Mapping[str, Seen]


def is_workbook(path: Path) -> bool:
    """Whether the file is to be read as a workbook: by its content, then by its name."""
    with path.open("rb") as file:
        begin = file.read(8)
    return begin[:4] == b"PK\x03\x04" or begin == _OLE or path.suffix.lower() in (".xlsx", ".xlsm")


def check_package(path: Path) -> Package:
    """Look through the directory of the archive.

    Raises ``OSError``, and `TableFileError` naming what is wrong: no archive, encrypted, too large
    once unpacked, no workbook of this kind.
    """
    name = path.name
    try:
        with zipfile.ZipFile(path) as archive:
            entries = archive.infolist()
            _refuse(name, entries)
            names = {entry.filename for entry in entries}
            sheets = {n: look_through(archive, n) for n in sorted(names) if _is_sheet(n)}
    except (zipfile.BadZipFile, NotImplementedError, EOFError) as error:
        raise TableFileError(f"{name}: {_no_archive(path)}") from error
    notes = []
    if any(n.startswith("xl/vbaProject") for n in names):
        notes.append("the workbook has macros; they were not run")
    if any(n.startswith("xl/externalLinks/") for n in names):
        notes.append(
            "the workbook refers to other workbooks; they were not opened, and the results it "
            "keeps of them are what counts"
        )
    return Package(tuple(notes), any(seen.formulas for seen in sheets.values()), sheets)


def _refuse(name: str, entries: list[zipfile.ZipInfo]) -> None:
    if len(entries) > MOST_ENTRIES:
        raise TableFileError(f"{name}: {len(entries)} files in one workbook; that is none")
    if any(entry.flag_bits & 1 for entry in entries):
        raise TableFileError(f"{name}: it is encrypted; save it without a password")
    names = [entry.filename for entry in entries]
    if len(set(names)) < len(names):
        raise TableFileError(f"{name}: a part is there twice; programs would read it differently")
    if "mimetype" in names and _TYPES not in names:
        raise TableFileError(f"{name}: this is not XLSX (OpenDocument?); save it as XLSX or CSV")
    if _TYPES not in names or "xl/workbook.xml" not in {n.lower() for n in names}:
        kind = "a binary workbook (XLSB)" if "xl/workbook.bin" in names else "not a workbook"
        raise TableFileError(f"{name}: this is {kind}; save it as XLSX or CSV")
    size = sum(entry.file_size for entry in entries)
    if size > MOST_BYTES:
        raise TableFileError(
            f"{name}: it unpacks to {size / 2**20:,.0f} MiB, {MOST_BYTES // 2**20:,} are taken; "
            "export the sheet as CSV, which may be of any size"
        )
    for entry in entries:
        if entry.file_size > _SMALL and entry.file_size > MOST_RATIO * max(1, entry.compress_size):
            raise TableFileError(
                f"{name}: {entry.filename} unpacks to {entry.file_size / entry.compress_size:,.0f} "
                "times its size; no sheet does, so it is not opened"
            )


def _is_sheet(name: str) -> bool:
    return name.startswith("xl/worksheets/") and name.endswith(".xml")


def _no_archive(path: Path) -> str:
    with path.open("rb") as file:
        begin = file.read(8)
    if begin == _OLE:
        return "this is an old or an encrypted workbook; save it as XLSX, without a password"
    if begin[:4] == b"PK\x03\x04":
        return "the workbook is damaged"
    return "this is not a workbook, whatever its name says; if it is CSV, name it .csv"
