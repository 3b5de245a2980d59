"""What the addresses about profiles have in common: body, profile, and what is accepted."""

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any, Final

from flask import request
from flask.globals import request_ctx
from marshmallow import Schema, ValidationError
from werkzeug.datastructures import MIMEAccept

from weighworthy_service.checks.kind import Kind
from weighworthy_service.checks.registry import NoSuchKind, kind_named
from weighworthy_service.json_document import pointer
from weighworthy_service.profiles.document import Profile
from weighworthy_service.profiles.errors import ProfileNotUsable
from weighworthy_service.profiles.finding import find_profile
from weighworthy_service.profiles.refusal import Refusal, from_flaws, refusal_of
from weighworthy_service.profiles.source import Source, TomlUnreadable, read_toml
from weighworthy_service.profiles.store import ProfileSet
from weighworthy_service.wire.coded import FieldError, Path, field_errors, nearest

_NONE: Final[Mapping[str, None]] = {}
BOTH: Final = "give the profile once: as profile or as profile_toml"


def loaded(
    form: Schema, document: Any, parameters: Mapping[str, Sequence[str] | None] = _NONE
) -> dict[str, Any]:
    """The body read by its form; `parameters` of the query as of `parameter_faults`.

    Raises:
        Refusal: `invalid`, with every fault; also for any other query parameter.
    """
    errors = parameter_faults(parameters)
    try:
        data: dict[str, Any] = form.load(document)
    except ValidationError as error:
        errors += field_errors(error.messages)
    if errors:
        raise refusal_of("invalid", errors)
    return data


def parameter_faults(known: Mapping[str, Sequence[str] | None]) -> list[FieldError]:
    """Faults of the query: each known parameter at most once, with one of its values if stated."""
    found: list[tuple[str, str]] = []
    if not request.query_string:
        return []
    for name, values in request.args.lists():
        taken = known.get(name)
        if name not in known:
            hint = nearest(name, tuple(known))
            found.append(
                ("unknown-parameter", f"no query parameter {name[:64]!r} is taken here{hint}")
            )
        elif len(values) > 1:
            found.append(("too-many", f"the query parameter {name!r} is given twice"))
        elif taken is not None and values[0] not in taken:
            found.append(("not-one-of", f"the query parameter {name!r} is one of {taken}"))
    return [FieldError("", code, detail) for code, detail in found]


def best_type(types: Sequence[str]) -> str:
    """The media type to answer in: the one that `Accept` likes best, of equals the first.

    Raises:
        Refusal: `not-acceptable`, when it takes none of them.
    """
    # What most clients send that do not ask for anything.
    if request_ctx.request.environ.get("HTTP_ACCEPT", "") in ("", "*/*"):
        return types[0]
    # Parameters do not matter: JSON has none, but some clients ask for a charset.
    ranges = MIMEAccept([(range_.partition(";")[0], q) for range_, q in request.accept_mimetypes])
    best = max(types, key=ranges.quality)
    if not ranges.quality(best):
        raise Refusal("not-acceptable", f"the answer is {', '.join(types)}")
    return best


def kind_of(slug: str, path: Path = ("check",)) -> Kind:
    """The kind of check of that name.

    Raises:
        Refusal: `invalid`.
    """
    try:
        return kind_named(slug)
    except NoSuchKind as error:
        fault = FieldError(pointer(*path), "not-one-of", str(error))
        raise refusal_of("invalid", [fault]) from None


def asked_profile(
    stated: Mapping[str, Any], profiles: ProfileSet, performed_on: date | None, under: Path = ()
) -> Profile:
    """The profile of a body that may give it as `profile` or as `profile_toml`.

    Raises:
        Refusal: `invalid` or `profile-not-usable`, with pointers into the body; what is wrong in a
            TOML text has its pointer in the profile and names the line.
    """
    reference, toml = stated.get("profile"), stated.get("profile_toml")
    if toml is None:
        source, place = Source({}), (*under, "profile")
    elif reference is not None:
        place = (*under, "profile_toml")
        raise refusal_of("invalid", [FieldError(pointer(*place), "contradiction", BOTH)])
    else:
        place = (*under, "profile_toml")
        try:
            reference = read_toml(toml)
        except TomlUnreadable as error:
            fault = FieldError(pointer(*place), "malformed-toml", str(error))
            raise refusal_of("invalid", [fault]) from None
        source = Source(reference, toml)
    try:
        return find_profile(reference, profiles, performed_on)
    except ValidationError as error:
        errors = field_errors(error.messages, place)
        raise refusal_of("invalid", source.with_lines(errors, place)) from None
    except ProfileNotUsable as error:
        errors = from_flaws(error.flaws, place)
        raise refusal_of("profile-not-usable", source.with_lines(errors, place)) from None
