"""Reading the profiles that the service knows."""

from functools import partial
from hashlib import sha256
from typing import Any

from flask import Response, request

from weighworthy_service.json_text import to_bytes
from weighworthy_service.profiles.document import Profile
from weighworthy_service.profiles.errors import ProfileNotUsable
from weighworthy_service.profiles.refusal import Refusal, from_flaws, refusal_of
from weighworthy_service.profiles.store import ProfileSet
from weighworthy_service.web.addresses import TAKEN, Known, Views
from weighworthy_service.web.asking import best_type, parameter_faults
from weighworthy_service.web.views import JSON_TYPE
from weighworthy_service.wire.coded import FieldError


def views(known: Known) -> Views:
    """The list of profiles, and each of them."""
    return {"profiles": partial(_all, known.profiles), "profile": partial(_one, known.profiles)}


def _all(profiles: ProfileSet) -> Response:
    best_type((JSON_TYPE,))
    _parameters(())
    body = to_bytes({"profiles": [_about(profile) for profile in profiles.all()]})
    return _tagged(body, f"sha256:{sha256(body).hexdigest()}")


def _one(profiles: ProfileSet, id: str) -> Response:  # noqa: A002  the name in the address
    best_type((JSON_TYPE,))
    _parameters(("revision",))
    profile = _asked(profiles, id, request.args.get("revision"))
    body = to_bytes({**_about(profile), "document": profile.document})
    return _tagged(body, profile.identity.digest)


def _asked(profiles: ProfileSet, address: str, revision: str | None) -> Profile:
    """The profile of `id` or `id@revision`, which may be said twice but not with two meanings."""
    id_, pinned, said = address.partition("@")
    if pinned and revision not in (None, said):
        detail = f"the address asks for revision {said!r} and the query for {revision!r}"
        raise refusal_of("invalid", [FieldError("", "contradiction", detail)])
    revision = said if pinned else revision
    known = profiles.revisions(id_)
    try:
        if revision is not None and known:
            return profiles.find(f"{id_}@{revision}", None)
        return known[0] if len(known) == 1 else profiles.find(id_, None)
    except ProfileNotUsable as error:
        if revision is None and known:  # several, and nothing says which
            raise refusal_of("profile-not-usable", from_flaws(error.flaws)) from None
        raise Refusal("not-found", error.flaws[0].detail) from None


def _about(profile: Profile) -> dict[str, Any]:
    identity, document = profile.identity, profile.document
    pinned = "@" if identity.id in TAKEN else "?revision="
    return {
        "id": identity.id,
        "revision": identity.revision,
        "digest": identity.digest,
        "title": profile.title,
        **{name: document.get(name) for name in ("approved_by", "effective_from", "effective_to")},
        "extends": list(profile.extends),
        "address": f"/v1/profiles/{identity.id}{pinned}{identity.revision}",
    }


def _parameters(known: tuple[str, ...]) -> None:
    if errors := parameter_faults(dict.fromkeys(known)):
        raise refusal_of("invalid", errors)


def _tagged(body: bytes, tag: str) -> Response:
    response = Response(body, content_type=JSON_TYPE)
    response.set_etag(tag)
    response.headers["Cache-Control"] = "private, no-cache"
    response.make_conditional(request)
    return response
