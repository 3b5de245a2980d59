"""Whether profiles that are reviewed together could lie in one folder of a service."""

import tomllib
from typing import Any

from weighworthy.profile_files import ProfileFile


class Together:
    """Profiles of files as they are reviewed: each name and each beginning must be one file's."""

    def __init__(self) -> None:
        self._by_name: dict[str, str] = {}
        self._by_begin: dict[tuple[str, str], tuple[str, str]] = {}

    def faults(self, profile: object, id_: str, revision: str | None) -> list[str]:
        """What is wrong between this profile and those before it."""
        if not isinstance(profile, ProfileFile):
            return []
        file, named = profile.name, f"{id_}@{revision}"
        other = self._by_name.setdefault(named, file)
        if other != file:
            return [f"{file}: name-taken: {named} is the profile of {other} already"]
        begin = _begin(profile)
        name, where = self._by_begin.setdefault((id_, begin), (named, file))
        if name == named:
            return []
        said = (
            f"{file}: ambiguous: {name} ({where}) is in force from {begin or 'the beginning'} too: "
            "give each revision an effective_from of its own"
        )
        return [said]


def _begin(profile: ProfileFile) -> str:
    document: Any = profile.members.get("profile")
    if document is None:
        document = tomllib.loads(profile.members["profile_toml"])
    return str(document.get("effective_from") or "")
