"""The checks that are being gathered, and to which of them a row belongs by its key and time."""

from collections import OrderedDict
from collections.abc import Iterator
from dataclasses import dataclass, field
from math import isnan

from weighworthy_service.tables.nearness import PAUSE, Nearness
from weighworthy_service.tables.placing import Key
from weighworthy_service.tables.together import Group

_TELL = "state in `by` what tells two checks apart"


@dataclass(slots=True, eq=False)
class _Same:
    """The open checks of one key, by their turns; `short` are those that lack rows.

    `untimed`: a row of one states no time. `refused`: why none of them must be judged.
    """

    latest: Group
    groups: dict[int, Group] = field(default_factory=dict)
    short: dict[int, Group] = field(default_factory=dict)
    untimed: bool = False
    refused: str | None = None


class OpenChecks:
    """Checks in the order of their first rows. `complete`: how many rows each has, if stated."""

    def __init__(self, complete: int | None) -> None:
        self._complete = complete
        # A plain dict would be looked through from its beginning, where others were taken out.
        self._open = OrderedDict[int, Group]()
        self._same: dict[Key, _Same] = {}
        self._near = Nearness[Group]()

    def __iter__(self) -> Iterator[Group]:
        return iter(self._open.values())

    @property
    def oldest(self) -> Group | None:
        """The one whose first row stands highest."""
        return next(iter(self._open.values()), None)

    def of(self, key: Key, time: float) -> Group | None:
        """The check that a row belongs to, None if to none of them: then it begins one.

        Where several may be meant, none of that key must be judged.
        """
        same = self._same.get(key)
        if same is None:
            return None
        if isnan(time):
            may_be = same.short or same.groups
            if len(may_be) > 1:
                same.refused = (
                    f"a row of the check {same.latest.name!r} without a time may belong to any "
                    f"of several: {_TELL}"
                )
            if same.latest.turn in may_be:
                return same.latest
            return next(iter(may_be.values()))
        if isnan(same.latest.lo):
            # Only the first of a key has rows, and none of them a time.
            return same.latest
        only = same.latest
        if len(same.groups) == 1:
            # As it mostly is; then nothing need be looked up.
            return only if only.lo - PAUSE <= time <= only.hi + PAUSE else None
        found = self._near.near(key, time)
        if len(found) > 1:
            same.refused = (
                f"rows of the check {same.latest.name!r} lie within 12 hours of two others "
                f"that lie farther apart: {_TELL}"
            )
        return found[0] if found else None

    def begin(self, group: Group) -> None:
        """A check begins with the row that is added to it next."""
        same = self._same.setdefault(group.key, _Same(group))
        same.groups[group.turn] = same.short[group.turn] = group
        self._open[group.turn] = group

    def added(self, group: Group, time: float) -> None:
        """A row was added to a check."""
        same = self._same[group.key]
        same.latest = group
        if isnan(time):
            same.untimed = True
        else:
            self._near.put(group.key, time, group)
        if len(group.members) == self._complete:
            same.short.pop(group.turn, None)
        if group.hi - group.lo > PAUSE:
            same.refused = (
                f"rows of the check {group.name!r} lie more than 12 hours apart, and others "
                f"between them: {_TELL}"
            )
        if same.untimed and len(same.groups) > 1:
            doubt = (
                f"rows of the check {group.name!r} without a time stand between two days: {_TELL}"
            )
            for other in same.groups.values():
                other.doubt = other.doubt or doubt

    def close(self, group: Group) -> None:
        """No more rows come to a check; what is known of all of its key is said of it."""
        same = self._same[group.key]
        group.refused = group.refused or same.refused
        self._near.drop(group.key, group)
        del self._open[group.turn], same.groups[group.turn]
        same.short.pop(group.turn, None)
        if not same.groups:
            del self._same[group.key]
        elif same.latest is group:
            same.latest = next(reversed(same.groups.values()))
