"""From what a request says about its profile to the profile itself."""

import json
from collections.abc import Iterable
from functools import cache, lru_cache
from importlib import resources
from typing import Any, Final

from weighworthy_service.checks.flaws import Flaw
from weighworthy_service.checks.registry import KINDS
from weighworthy_service.profiles.canonical import digest_of, from_toml
from weighworthy_service.profiles.document import Profile, to_profile
from weighworthy_service.profiles.errors import ProfileNotUsable
from weighworthy_service.profiles.meaning import Judging, flaws_of
from weighworthy_service.wire.profile import ProfileSchema

_SCHEMA: Final = ProfileSchema()


def find_profile(reference: str | dict[str, Any] | None) -> Profile:
    """The profile of a request: the general one (None), a known one by name, or one sent along.

    Raises:
        marshmallow.ValidationError: a profile sent along has not the form of one.
        ProfileNotUsable: it contradicts itself, or no profile of that name is here.
    """
    if isinstance(reference, dict):
        return _sent_along(json.dumps(reference, sort_keys=True))
    general = general_profile()
    name = f"{general.identity.id}@{general.identity.revision}"
    if reference is None or reference in (general.identity.id, name):
        return general
    raise ProfileNotUsable(
        [Flaw((), "unknown-profile", f"no profile {reference[:100]!r} is here; available: {name}")]
    )


@cache
def general_profile() -> Profile:
    """The built-in profile for requests that name none; call it once before the first request."""
    text = resources.files("weighworthy_service.profiles").joinpath("published", "general.toml")
    return read_profile(from_toml(text.read_text(encoding="utf-8")))


def read_profile(document: dict[str, Any], kinds: Iterable[Judging] = KINDS) -> Profile:
    """A profile from its document.

    Raises:
        marshmallow.ValidationError: it has not the form of a profile.
        ProfileNotUsable: it contradicts itself; every flaw at once.
    """
    data = _SCHEMA.load(document)
    flaws = tuple(flaws_of(data, kinds))
    if flaws:
        raise ProfileNotUsable(flaws)
    return to_profile(data, digest_of(document))


# A laboratory sends the same profile with every check; reading it takes longer than judging one.
@lru_cache(maxsize=16)
def _sent_along(text: str) -> Profile:
    profile = read_profile(json.loads(text))
    general = general_profile().identity
    same_name = (profile.identity.id, profile.identity.revision) == (general.id, general.revision)
    if same_name and profile.identity.digest != general.digest:
        raise ProfileNotUsable(
            [
                Flaw(
                    ("id",),
                    "name-taken",
                    f"{general.id}@{general.revision} is the built-in profile, and this one "
                    "differs from it: give it an id or a revision of its own",
                )
            ]
        )
    return profile
