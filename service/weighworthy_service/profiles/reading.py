"""From a profile document to the profile it means, with all it builds on."""

from collections.abc import Iterable, Mapping
from itertools import islice
from typing import Any, Final

from marshmallow import ValidationError

from weighworthy_service.checks.flaws import Flaw
from weighworthy_service.checks.registry import KINDS
from weighworthy_service.profiles.beside import as_messages, flaws_beside
from weighworthy_service.profiles.canonical import (
    MAX_VALUES,
    digest_of,
    has_too_many_values,
    plain,
)
from weighworthy_service.profiles.document import Profile, to_profile, to_rules
from weighworthy_service.profiles.errors import ProfileNotUsable
from weighworthy_service.profiles.loosening import loosening_flaws
from weighworthy_service.profiles.meaning import Judging, flaws_of
from weighworthy_service.profiles.meeting import meeting_flaws
from weighworthy_service.profiles.overlap import extent_flaws
from weighworthy_service.profiles.store import ProfileSet
from weighworthy_service.wire.coded import MAX_ERRORS
from weighworthy_service.wire.profile import MAX_RULES, ProfileSchema

MAX_DEPTH: Final = 4
_SCHEMA: Final = ProfileSchema()
_NO_PROFILES: Final = ProfileSet.of([])


def read_profile(
    document: Mapping[str, Any],
    profiles: ProfileSet = _NO_PROFILES,
    kinds: Iterable[Judging] = KINDS,
) -> Profile:
    """A profile from its document; `profiles` is where a parent is looked for by name.

    Raises:
        marshmallow.ValidationError: it, or a parent inside it, has not the form of a profile; also
            with the flaws of what has.
        ProfileNotUsable: it contradicts itself, or loosens its parent without a reason, or the
            parent cannot be had; every flaw at once, paths from the root of the document.
    """
    if has_too_many_values(document):
        raise ProfileNotUsable([Flaw((), "too-many", f"there are more than {MAX_VALUES} values")])
    return _read(document, profiles, tuple(kinds), children=())


def _read(
    document: Mapping[str, Any],
    profiles: ProfileSet,
    kinds: tuple[Judging, ...],
    children: tuple[str, ...],
) -> Profile:
    """`children` are the documents that this one is a parent of, from the outermost."""
    data, messages = _loaded(document)
    parent: Profile | None = None
    flaws: list[Flaw] = []
    try:
        parent = _parent(document, data, profiles, kinds, children)
    except ValidationError as error:
        messages["extends"] = error.messages
    except ProfileNotUsable as error:
        flaws += error.flaws
    if messages:
        flaws += islice(flaws_beside(document, messages, kinds), MAX_ERRORS)
        raise ValidationError([messages, *map(as_messages, flaws)] if flaws else messages)
    flaws += flaws_of(data, kinds)
    if flaws:
        raise ProfileNotUsable(flaws)
    own = to_rules(data)
    rules = (*parent.rules, *own) if parent else own
    resolved = plain(_resolved(document, parent))
    profile = to_profile(data, resolved, digest_of(resolved), rules, parent)
    if len(rules) > MAX_RULES:
        flaws.append(
            Flaw(("rules",), "too-many", f"with what it builds on, at most {MAX_RULES} rules")
        )
    flaws += extent_flaws(rules)
    if flaws:  # so many cannot be held against each other
        raise ProfileNotUsable(flaws)
    flaws += islice(meeting_flaws(rules, len(rules) - len(own), kinds), MAX_ERRORS)
    if parent is not None:
        use_on = () if data.get("loosens") else profile.use_on
        flaws += loosening_flaws(parent, own, use_on, [kind.slug for kind in kinds])
    if flaws:
        raise ProfileNotUsable(flaws)
    return profile


def _loaded(document: Mapping[str, Any]) -> tuple[dict[str, Any], dict[str, Any]]:
    """What a document states, and what is wrong with its form."""
    try:
        return _SCHEMA.load(document), {}
    except ValidationError as error:
        if not isinstance(error.messages, dict):  # no object at all
            raise
        return {}, dict(error.messages)


def _parent(
    document: Mapping[str, Any],
    data: Mapping[str, Any],
    profiles: ProfileSet,
    kinds: tuple[Judging, ...],
    children: tuple[str, ...],
) -> Profile | None:
    extends = document.get("extends")
    if extends is None:
        return None
    lineage = (*children, f"{document.get('id')}@{document.get('revision')}")
    if len(lineage) > MAX_DEPTH:
        raise _flawed(
            "extends-too-deep", f"a profile builds on at most {MAX_DEPTH} others: {_chain(lineage)}"
        )
    if isinstance(extends, dict):
        try:
            parent = _read(extends, profiles, kinds, lineage)
        except ProfileNotUsable as error:
            raise ProfileNotUsable(
                Flaw(("extends", *flaw.path), flaw.code, flaw.detail) for flaw in error.flaws
            ) from None
    elif data:
        try:
            parent = profiles.find(extends, None)
        except ProfileNotUsable as error:
            raise ProfileNotUsable(
                Flaw(("extends",), flaw.code, flaw.detail) for flaw in error.flaws
            ) from None
    else:
        return None  # the form is wrong, which is told
    whole = (*lineage, parent.name, *parent.extends)
    if len(set(whole)) < len(whole):
        raise _flawed("extends-cycle", f"a profile cannot build on itself: {_chain(whole)}")
    if len(whole) > MAX_DEPTH + 1:
        raise _flawed(
            "extends-too-deep", f"a profile builds on at most {MAX_DEPTH} others: {_chain(whole)}"
        )
    return parent


def _flawed(code: str, detail: str) -> ProfileNotUsable:
    return ProfileNotUsable([Flaw(("extends",), code, detail)])


def _chain(names: Iterable[str]) -> str:
    return " -> ".join(names)


def _resolved(document: Mapping[str, Any], parent: Profile | None) -> dict[str, Any]:
    """The document that means the same without building on another."""
    own = {key: value for key, value in document.items() if key != "extends"}
    if parent is None:
        return own
    inherited = {key: parent.document[key] for key in ("use_on",) if key in parent.document}
    stated = {key: value for key, value in own.items() if value is not None}
    return {**inherited, **stated, "rules": [*parent.document["rules"], *own["rules"]]}
