"""The profiles of the rows of a table: one sent along is read once, not once a row."""

from collections.abc import Iterable
from datetime import date, timedelta
from typing import Any, Final

from weighworthy_service.metrology.weights import ReferenceWeight
from weighworthy_service.profiles.document import Profile
from weighworthy_service.profiles.finding import find_profile
from weighworthy_service.profiles.store import ProfileSet

# Profiles written out in rows of their own are read anew when there are more than this.
_KEPT: Final = 64

Reference = str | dict[str, Any] | None


class AtHand:
    """`find_profile` among some profiles, remembering what it found for the very same object."""

    def __init__(self, profiles: ProfileSet) -> None:
        self._profiles = profiles
        self._known: dict[int, tuple[Reference, Profile]] = {}
        self._turns = {
            day for p in profiles.all() for day in (p.effective_from, _after(p.effective_to))
        }

    def find(self, reference: Reference, performed_on: date | None) -> Profile:
        """The profile of a request. Raises: as `find_profile` does."""
        if not isinstance(reference, dict):
            return find_profile(reference, self._profiles, performed_on)
        kept = self._known.get(id(reference))
        # The reference is kept with its profile, so that no other object can get its identity.
        if kept is not None and kept[0] is reference:
            return kept[1]
        profile = find_profile(reference, self._profiles, performed_on)
        if len(self._known) >= _KEPT:
            self._known.clear()
        self._known[id(reference)] = (reference, profile)
        return profile

    def turns(self, weights: Iterable[ReferenceWeight]) -> list[str]:
        """The days, in order, from which on a check with these weights can be judged otherwise.

        Between two of them no profile comes into force or ends, and no weight gets in or out of
        date: of the time of a check, nothing else decides.
        """
        of_weights = {day for w in weights for day in (w.calibrated_on, _after(w.due_on))}
        return sorted(str(day) for day in self._turns | of_weights if day is not None)


def _after(day: date | None) -> date | None:
    return None if day is None or day == date.max else day + timedelta(days=1)
