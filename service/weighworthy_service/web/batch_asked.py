"""What a batch is judged by: mapping and profile, sent along or known by name."""

import json
from codecs import BOM_UTF8
from collections.abc import Mapping, Sequence
from typing import Any, Final

from flask import request
from marshmallow import ValidationError

from weighworthy_service.profiles.errors import ProfileNotUsable
from weighworthy_service.profiles.finding import find_profile
from weighworthy_service.profiles.refusal import Refusal, from_flaws, refusal_of
from weighworthy_service.profiles.source import Source, TomlUnreadable, read_toml
from weighworthy_service.profiles.store import ProfileSet
from weighworthy_service.tables.cells import TableFault, TableNotUsable
from weighworthy_service.tables.disagreement import mapping_errors
from weighworthy_service.tables.mapping import MappingNotUsable, TableMapping
from weighworthy_service.tables.mapping_reading import parse_mapping
from weighworthy_service.web.json import parse
from weighworthy_service.wire.coded import FieldError, Path, field_errors, nearest
from weighworthy_service.wire.request import MAX_WEIGHTS

# Of a series of one check columns feed the values; more of it cannot be meant for all rows.
_MOST_OF_SERIES: Final = 100


def asked_mapping(sent: bytes | None, known: Mapping[str, TableMapping]) -> TableMapping:
    """The mapping of a table.

    Raises:
        Refusal: `invalid`, where it is missing or given twice; `mapping-not-usable`.
    """
    named = request.args.get("mapping")
    if (sent is None) == (named is None):
        code = "required" if sent is None else "contradiction"
        said = "give the mapping once: as a part, or by its id in the query"
        raise refusal_of("invalid", [FieldError("", code, said)])
    if sent is not None:
        try:
            mapping = parse_mapping(sent.removeprefix(BOM_UTF8))
        except MappingNotUsable as error:
            raise refusal_of("mapping-not-usable", error.errors) from None
        _refuse_too_much(mapping)
        return mapping
    assert named is not None  # noqa: S101  one of them is there
    if named not in known:
        names = tuple(known)
        said = f"no mapping {named[:64]!r} is here{nearest(named, names)}"
        raise refusal_of("mapping-not-usable", [FieldError("", "unknown-mapping", said)])
    return known[named]


def _refuse_too_much(mapping: TableMapping) -> None:
    """What would be read again with each row."""
    for name, most in (("series", _MOST_OF_SERIES), ("weights", MAX_WEIGHTS)):
        constant = mapping.constants.get(name)
        if isinstance(constant, list | dict) and len(constant) > most:
            said = f"what all rows have in common takes at most {most} entries of {name}"
            error = FieldError(f"/constants/{name}", "too-many", said)
            raise refusal_of("mapping-not-usable", [error])


def asked_profile(sent: bytes | None, profiles: ProfileSet) -> str | dict[str, Any] | None:
    """What rows that name no profile are judged by, None for the built-in one.

    Raises:
        Refusal: `invalid`, where it is given twice; `profile-not-usable`; `malformed-json`.
    """
    named = request.args.get("profile")
    if sent is None:
        if named is not None:
            refuse_unusable(named, profiles, ())
        return named
    if named is not None:
        said = "give the profile once: as a part, or by name in the query"
        raise refusal_of("invalid", [FieldError("", "contradiction", said)])
    source = _source(sent.removeprefix(BOM_UTF8))
    try:
        find_profile(dict(source.document), profiles)
    except ValidationError as error:
        errors = field_errors(error.messages)
    except ProfileNotUsable as error:
        errors = from_flaws(error.flaws)
    else:
        # One object for all rows, by which the profile is found again.
        plain: dict[str, Any] = json.loads(json.dumps(source.document))
        return plain
    raise refusal_of("profile-not-usable", source.with_lines(errors))


def _source(sent: bytes) -> Source:
    if sent.lstrip()[:1] == b"{":
        return Source(parse(sent))
    try:
        text = sent.decode()
        return Source(read_toml(text), text)
    except (UnicodeDecodeError, TomlUnreadable) as error:
        fault = FieldError("", "malformed-toml", str(error))
        raise refusal_of("profile-not-usable", [fault]) from None


def refuse_unusable(reference: Any, profiles: ProfileSet, under: Path) -> None:
    """Refuse what no row can be judged by. What a plain name means depends on the row's date.

    Raises:
        Refusal: `profile-not-usable`.
    """
    try:
        if isinstance(reference, dict):
            find_profile(reference, profiles)
        elif isinstance(reference, str):
            id_, pinned, _ = reference.partition("@")
            if pinned or not profiles.revisions(id_):
                profiles.find(reference, None)
    except ValidationError as error:
        raise refusal_of("profile-not-usable", field_errors(error.messages, under)) from None
    except ProfileNotUsable as error:
        raise refusal_of("profile-not-usable", from_flaws(error.flaws, under)) from None


def unusable(error: TableNotUsable, mapping: TableMapping) -> Refusal:
    """The refusal of a table that cannot be judged by its mapping: of the mapping where it names
    what the table has not, otherwise of the table."""
    if errors := mapping_errors(error, mapping):
        return refusal_of("mapping-not-usable", errors)
    return refusal_of("table-not-usable", table_errors(error))


def table_errors(error: TableNotUsable) -> Sequence[FieldError]:
    """What is wrong with a table as a whole, each with the place where it shows."""
    return [FieldError("", fault.code, f"{_place(fault)}{fault.detail}") for fault in error.errors]


def _place(fault: TableFault) -> str:
    parts = [
        f"{name} {value!r}" if name != "row" else f"row {value}"
        for name, value in (
            ("sheet", fault.sheet),
            ("row", fault.row),
            ("column", fault.column),
            ("cell", fault.cell),
        )
        if value is not None
    ]
    return f"{', '.join(parts)}: " if parts else ""
