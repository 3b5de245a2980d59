"""The evaluation of a record, computed anew: from its request, by the profile that it holds."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from typing import Any, Final, Literal

from marshmallow import ValidationError

from weighworthy_service.checks.answer import answer, request_digest
from weighworthy_service.checks.flaws import Flaw
from weighworthy_service.checks.registry import NoSuchKind, kind_named
from weighworthy_service.evidence.records.content import whole
from weighworthy_service.evidence.records.seals import Reason
from weighworthy_service.profiles.document import Profile
from weighworthy_service.profiles.errors import ProfileNotUsable
from weighworthy_service.profiles.finding import DEFAULT
from weighworthy_service.profiles.judging import judge
from weighworthy_service.profiles.reading import read_profile
from weighworthy_service.profiles.refusal import Refusal, from_flaws
from weighworthy_service.wire.coded import FieldError, field_errors

ProfileState = Literal["same", "differs", "not-readable"]
# Some are kept, and what is sent along with a request is no longer, even with its parents.
_LONGEST: Final = 2 * 1024 * 1024


@dataclass(frozen=True, slots=True)
class Recomputed:
    """`answer` is None where none could be had; the reasons say why."""

    profile: ProfileState
    answer: dict[str, Any] | None
    reasons: tuple[Reason, ...]


def recompute(record: Mapping[str, Any], version: str) -> Recomputed:
    """Judge the request of a record by its profile, whatever profiles are in force today."""
    # Neither has numbers but counts.
    request, slug = whole(record["request"]), record["request"].get("check")
    try:
        profile = held_profile(whole(record["profile"]))
    except ValidationError as error:
        errors = field_errors(error.messages)
    except ProfileNotUsable as error:
        errors = from_flaws(error.flaws)
    else:
        reasons = _unlike(record, profile)
        state: ProfileState = "differs" if reasons else "same"
        try:
            kind = kind_named(slug)
        except NoSuchKind as error:
            unknown = _reason("check-unknown", str(error), "/check")
            return Recomputed(state, None, (*reasons, unknown))

        def find(_reference: str | dict[str, Any] | None, _day: date | None) -> Profile:
            return profile

        try:
            judged = judge(kind, request, find)
        except Refusal as refusal:
            faults = refusal.errors or (FieldError("", refusal.slug, refusal.detail),)
            told = (_reason(f.code, f.detail, f.pointer) for f in faults)
            return Recomputed(state, None, (*reasons, *told))
        made = answer(
            judged.evaluation,
            profile=judged.profile,
            version=version,
            request_digest=request_digest(request, kind.slug),
            labels=judged.labels,
        )
        return Recomputed(state, made, reasons)
    told = (Reason("profile", e.code, e.detail, f"/profile{e.pointer}") for e in errors)
    return Recomputed("not-readable", None, tuple(told))


def held_profile(document: Mapping[str, Any]) -> Profile:
    """The profile that a record holds: resolved, so that its rules are all its own.

    Raises: as `read_profile` does.
    """
    text = json.dumps(document, sort_keys=True)
    if len(text) > _LONGEST:
        said = f"a profile takes at most {_LONGEST} characters"
        raise ProfileNotUsable([Flaw((), "too-large", said)])
    return _read(text)


# A laboratory seals the same profile with every check; reading it takes longer than judging one.
@lru_cache(maxsize=16)
def _read(text: str) -> Profile:
    return read_profile(json.loads(text))


def _reason(code: str, message: str, pointer: str) -> Reason:
    return Reason("evaluation", code, message, f"/request{pointer}")


def _unlike(record: Mapping[str, Any], profile: Profile) -> tuple[Reason, ...]:
    """Where the profile that is held is not the one that the answer or the request names."""
    reasons = []
    stated, identity = record["answer"].get("profile"), profile.identity
    own = {"id": identity.id, "revision": identity.revision, "digest": identity.digest}
    for name, value in own.items():
        said = stated.get(name) if isinstance(stated, dict) else None
        if said != value:
            sentence = f"the answer names {name} {said!r}, the profile held has {value!r}"
            place = f"/answer/profile/{name}"
            reasons.append(Reason("profile", "profile-differs", sentence[:500], place))
    if not _asked_for(whole(record["request"].get("profile")), profile):
        sentence = f"the request asks for another profile than {profile.name} as it is held"
        reasons.append(Reason("profile", "profile-differs", sentence, "/request/profile"))
    return tuple(reasons)


def _asked_for(reference: Any, profile: Profile) -> bool:
    """Whether a request's word on its profile fits; a parent known by name alone is not here."""
    identity = profile.identity
    if reference is None:
        return identity.id == DEFAULT
    if isinstance(reference, str):
        id_, pinned, revision = reference.partition("@")
        return id_ == identity.id and (not pinned or revision == identity.revision)
    if not isinstance(reference, dict):
        return True  # the request is refused for it
    if (reference.get("id"), reference.get("revision")) != (identity.id, identity.revision):
        return False
    try:
        return held_profile(reference).identity.digest == identity.digest
    except (ValidationError, ProfileNotUsable):
        return True
