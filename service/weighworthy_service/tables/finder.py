"""The profile of every row of a table: the one sent along is read once, not once a row."""

from datetime import date
from typing import Any, Final

from weighworthy_service.profiles.document import Profile
from weighworthy_service.profiles.finding import find_profile
from weighworthy_service.profiles.judging import Finder
from weighworthy_service.profiles.store import ProfileSet

# Profiles written out in rows of their own are read anew when there are more than this.
_KEPT: Final = 64

Reference = str | dict[str, Any] | None


def finder(profiles: ProfileSet) -> Finder:
    """`find_profile` among these profiles, remembering what it found for the very same object."""
    known: dict[int, tuple[Reference, Profile]] = {}

    def find(reference: Reference, performed_on: date | None) -> Profile:
        if not isinstance(reference, dict):
            return find_profile(reference, profiles, performed_on)
        kept = known.get(id(reference))
        # The reference is kept with its profile, so that no other object can get its identity.
        if kept is not None and kept[0] is reference:
            return kept[1]
        profile = find_profile(reference, profiles, performed_on)
        if len(known) >= _KEPT:
            known.clear()
        known[id(reference)] = (reference, profile)
        return profile

    return find
