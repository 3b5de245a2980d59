"""From what a request says about its profile to the profile itself."""

import json
from datetime import date
from functools import cache, lru_cache
from importlib import resources
from typing import Any, Final

from weighworthy_service.checks.flaws import Flaw
from weighworthy_service.profiles.canonical import from_toml
from weighworthy_service.profiles.document import Profile
from weighworthy_service.profiles.errors import ProfileNotUsable
from weighworthy_service.profiles.reading import read_profile
from weighworthy_service.profiles.store import ProfileSet

DEFAULT: Final = "weighworthy-general"


def find_profile(
    reference: str | dict[str, Any] | None,
    profiles: ProfileSet,
    performed_on: date | None = None,
) -> Profile:
    """The profile of a request: the general one (None), a known one by name, or one sent along.

    `performed_on` is the local date of the check, which decides what a plain id means.

    Raises:
        marshmallow.ValidationError: a profile sent along has not the form of one.
        ProfileNotUsable: it contradicts itself, or no profile of that name is here.
    """
    if isinstance(reference, dict):
        return _sent_along(json.dumps(reference, sort_keys=True), profiles)
    return profiles.find(DEFAULT if reference is None else reference, performed_on)


@cache
def built_in() -> ProfileSet:
    """The profiles that come with the service; read once, before the first request."""
    folder = resources.files("weighworthy_service.profiles").joinpath("published")
    texts = [file.read_text("utf-8") for file in folder.iterdir() if file.name.endswith(".toml")]
    return ProfileSet.of(read_profile(from_toml(text)) for text in texts)


# A laboratory sends the same profile with every check; reading it takes longer than judging one.
@lru_cache(maxsize=16)
def _sent_along(text: str, profiles: ProfileSet) -> Profile:
    profile = read_profile(json.loads(text), profiles)
    known = profiles.get(profile.identity.id, profile.identity.revision)
    if known is not None and known.identity.digest != profile.identity.digest:
        raise ProfileNotUsable(
            [
                Flaw(
                    ("id",),
                    "name-taken",
                    f"{known.name} is a profile of this service, and this one differs from it: "
                    "give it an id or a revision of its own",
                )
            ]
        )
    return profile
