"""What follows a result, kind of check by kind of check, seen from the end of the log backwards.

What counts is the first check that says something of the time before it: its verdict as found. A
check without one says something only if it fails, or if it adjusted the balance, and so is the
first to look at it after what it was like before is gone. A void check counts for nothing, save
that an error it found as found, in a part that is valid, is not hidden by the rest.
"""

from collections.abc import Iterable
from typing import NamedTuple

from weighworthy_service.logbook.entries import ADJUSTING, CheckSaid, Entry


class Following(NamedTuple):
    """Of one kind of check. `check`: the first that counts; None: none yet.

    `adjusted`: an entry before that check, or in it, with which what the balance was like ended.
    `void`: a void check before it that would have failed.
    """

    check: Entry | None = None
    adjusted: Entry | None = None
    void: Entry | None = None

    @property
    def fails(self) -> bool:
        """Whether the check that counts does not let the balance be used."""
        said = self.check.said if self.check is not None else None
        return said is not None and not (
            said.usable if said.lets_use_as_found is None else said.lets_use_as_found
        )

    @property
    def passes(self) -> bool:
        """Whether it does."""
        return self.check is not None and not self.fails


class Backwards:
    """Takes entries from the last to the first; `kinds` are all that anybody will ask about."""

    def __init__(self, kinds: Iterable[str]) -> None:
        self._kinds = dict.fromkeys(kinds, Following())

    def take(self, entry: Entry) -> None:
        """Take the entry before those taken."""
        said = entry.said
        if said is None:
            if entry.kind in ADJUSTING:
                self._adjusted(entry)
            return
        if said.adjusted:
            self._adjusted(entry)
        if _counts(said):
            gone = said.adjusted and said.lets_use_as_found is None
            self._kinds[said.check] = Following(entry, entry if gone else None)
        elif said.would_let_use is False:
            before = self._kinds[said.check]
            self._kinds[said.check] = before._replace(void=entry)

    def now(self) -> dict[str, Following]:
        """What follows a result at this place, by kind."""
        return dict(self._kinds)

    def _adjusted(self, entry: Entry) -> None:
        for kind, following in self._kinds.items():
            self._kinds[kind] = following._replace(adjusted=entry)


def _counts(said: CheckSaid) -> bool:
    if not said.valid:
        return said.lets_use_as_found is False
    return said.lets_use_as_found is not None or not said.usable or said.adjusted
