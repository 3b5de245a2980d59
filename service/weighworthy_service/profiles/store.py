"""The profiles that a service knows by name, and which revision a plain name means on a day."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date
from typing import Final

from weighworthy_service.checks.flaws import Flaw
from weighworthy_service.profiles.document import Profile
from weighworthy_service.profiles.errors import ProfileNotUsable
from weighworthy_service.wire.coded import nearest

_SHOWN: Final = 20


@dataclass(frozen=True, eq=False)
class ProfileSet:
    """Profiles by id and revision. Equal only to itself, so that it can be a key of a cache."""

    _by_id: dict[str, dict[str, Profile]] = field(repr=False)

    @classmethod
    def of(cls, profiles: Iterable[Profile]) -> "ProfileSet":
        """The set of these profiles, of which no two have one id and revision."""
        by_id: defaultdict[str, dict[str, Profile]] = defaultdict(dict)
        for profile in sorted(profiles, key=lambda p: (p.identity.id, p.identity.revision)):
            by_id[profile.identity.id][profile.identity.revision] = profile
        return cls(dict(by_id))

    def all(self) -> tuple[Profile, ...]:
        """Every profile, by id and revision."""
        return tuple(p for revisions in self._by_id.values() for p in revisions.values())

    def revisions(self, id_: str) -> tuple[Profile, ...]:
        """Every revision of one id, none if there is no such id."""
        return tuple(self._by_id.get(id_, {}).values())

    def get(self, id_: str, revision: str) -> Profile | None:
        """The profile of exactly this id and revision."""
        return self._by_id.get(id_, {}).get(revision)

    def _names(self) -> str:
        names = [profile.name for profile in self.all()]
        more = f" and {len(names) - _SHOWN} more" if len(names) > _SHOWN else ""
        return ", ".join(names[:_SHOWN]) + more

    def find(self, reference: str, performed_on: date | None) -> Profile:
        """The profile that `id@revision` or a plain `id` means for a check on a local date.

        A plain id means the revision with the latest `effective_from` that is not after that date,
        one without as from the beginning; not if it had ended before. Without a date it means
        something only where there is one revision, in force at all times.

        Raises:
            ProfileNotUsable: there is none; what is there is listed.
        """
        id_, pinned, revision = reference.partition("@")
        known = self.revisions(id_)
        if not known:
            hint = nearest(id_, tuple(self._by_id))
            raise _unusable(
                "unknown-profile",
                f"no profile {reference!r} is here{hint}; available: {self._names()}",
            )
        if pinned:
            found = self.get(id_, revision)
            if found is None:
                raise _unusable(
                    "unknown-profile", f"no profile {reference!r} is here; {_listed(known)}"
                )
            return found
        if performed_on is None:
            if len(known) == 1 and known[0].effective_from is known[0].effective_to is None:
                return known[0]
            raise _unusable(
                "revision-open",
                f"which revision of {id_!r} is in force depends on the date, and none is stated: "
                "state it (performed_at of a check, performed_on elsewhere), or name the revision; "
                f"{_listed(known)}",
            )
        begun = [p for p in known if (p.effective_from or date.min) <= performed_on]
        latest = max(begun, key=lambda p: p.effective_from or date.min, default=None)
        if latest is None or (latest.effective_to or date.max) < performed_on:
            raise _unusable(
                "not-in-force",
                f"no revision of {id_!r} is in force on {performed_on}; {_listed(known)}",
            )
        return latest


def _unusable(code: str, detail: str) -> ProfileNotUsable:
    return ProfileNotUsable([Flaw((), code, detail)])


def _listed(profiles: Iterable[Profile]) -> str:
    return "revisions: " + ", ".join(f"{p.identity.revision}{_period(p)}" for p in profiles)


def _period(profile: Profile) -> str:
    begin = f" from {profile.effective_from}" if profile.effective_from else ""
    end = f" to {profile.effective_to}" if profile.effective_to else ""
    return f"{begin}{end}"
