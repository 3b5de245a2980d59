"""A folder of mapping documents: read whole, or refused with everything that is wrong in it.

What counts as a file of it is the same as in a folder of profiles.
"""

from collections.abc import Mapping
from pathlib import Path

from weighworthy_service.profiles.files import FileUnreadable, read_file
from weighworthy_service.profiles.folder import FolderError, FolderNotUsable, paths_in
from weighworthy_service.tables.mapping import MappingNotUsable, TableMapping
from weighworthy_service.tables.mapping_reading import read_mapping


def load_mappings(folder: Path) -> Mapping[str, TableMapping]:
    """The mappings of a folder by their ids.

    Raises:
        FolderNotUsable: anything in it cannot be read, means nothing, has no id or that of another.
    """
    errors: list[FolderError] = []
    found: dict[str, TableMapping] = {}
    files: dict[str, str] = {}
    for name, path in paths_in(folder, errors):
        try:
            mapping = read_mapping(read_file(path, folder))
        except FileUnreadable as error:
            errors.append(FolderError(name, error.line, "", error.code, error.detail))
            continue
        except MappingNotUsable as error:
            errors += [FolderError(name, None, e.pointer, e.code, e.detail) for e in error.errors]
            continue
        if mapping.id is None:
            said = "a mapping of a folder is asked for by its id: give it one"
            errors.append(FolderError(name, None, "/id", "required", said))
        elif mapping.id in files:
            said = f"{mapping.id!r} is the id of {files[mapping.id]} already"
            errors.append(FolderError(name, None, "/id", "name-taken", said))
        else:
            found[mapping.id], files[mapping.id] = mapping, name
    if errors:
        raise FolderNotUsable(sorted(errors, key=lambda e: (e.file, e.line or 0, e.pointer)))
    return found
