"""From a profile document to the profile it means."""

from collections.abc import Iterable
from typing import Any, Final

from weighworthy_service.checks.registry import KINDS
from weighworthy_service.profiles.canonical import digest_of
from weighworthy_service.profiles.document import Origin, Profile, to_profile
from weighworthy_service.profiles.errors import ProfileNotUsable
from weighworthy_service.profiles.meaning import Judging, flaws_of
from weighworthy_service.profiles.store import ProfileSet
from weighworthy_service.wire.profile import ProfileSchema

_SCHEMA: Final = ProfileSchema()


def read_profile(
    document: dict[str, Any],
    profiles: ProfileSet | None = None,
    kinds: Iterable[Judging] = KINDS,
) -> Profile:
    """A profile from its document; `profiles` is where a parent is looked for by name.

    Raises:
        marshmallow.ValidationError: it has not the form of a profile.
        ProfileNotUsable: it contradicts itself; every flaw at once.
    """
    data = _SCHEMA.load(document)
    flaws = tuple(flaws_of(data, kinds))
    if flaws:
        raise ProfileNotUsable(flaws)
    origins = [
        Origin(data["id"], data["revision"], f"/rules/{i}") for i in range(len(data["rules"]))
    ]
    return to_profile(data, document, digest_of(document), origins)
