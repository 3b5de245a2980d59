"""How one kind of check supports one result."""

from collections.abc import Iterator
from datetime import datetime
from types import MappingProxyType
from typing import Final, NamedTuple

from weighworthy_service.logbook.entries import ADJUSTING, Because, Entry
from weighworthy_service.logbook.following import Following
from weighworthy_service.logbook.kind_standing import FAILED, IN_USE, KindStatus
from weighworthy_service.logbook.needs import State
from weighworthy_service.logbook.shift import Faults

_NOT_IN_USE: Final = MappingProxyType(
    {
        "overdue": "the {} check was overdue",
        "asked": "a {} check was asked for, and not done yet",
        "never": "no {} check had passed yet",
        "failed": "the {} check before had failed",
        "failed-void": "the {} check before was void, and would have failed",
    }
)


class KindSupport(NamedTuple):
    """One kind of check as to one result.

    `before`: the check that its state rested on when the result was measured: the last that passed,
    or the one that failed; `after`: the first later one that says something of the time before it.
    `unsettled_at`: since when the state is what it is; an assessment from before does not close it.
    """

    check: str
    required: bool
    state: State
    before: str | None
    after: str | None
    unsettled_at: datetime
    sentence: str
    because: tuple[Because, ...]


class Preceding:
    """The last failed check of each kind, of the entries taken, and whether its errors hold."""

    def __init__(self) -> None:
        self._failed: dict[str, Entry] = {}
        self._holding: dict[str, Entry] = {}

    def take(self, entry: Entry) -> None:
        """Take the next entry."""
        said = entry.said
        if entry.kind in ADJUSTING or (said is not None and said.adjusted):
            self._holding.clear()
        if said is None:
            return
        if said.valid and said.usable is False:
            self._failed[said.check] = self._holding[said.check] = entry
        elif said.valid and said.usable:
            self._holding.pop(said.check, None)
        elif said.fails:
            # It takes the balance out, but its figures are void.
            self._failed[said.check] = entry

    def failed(self, check: str) -> Entry | None:
        """The last check of a kind that failed, or was void and would have."""
        return self._failed.get(check)

    def holding(self, check: str) -> Entry | None:
        """The last valid one, if no pass came since and nothing changed the balance."""
        return self._holding.get(check)


def required_support(
    status: KindStatus, failed: Entry | None, following: Following, at: datetime
) -> KindSupport:
    """Of a kind with this status when a result was measured; `failed`: see `Preceding`."""
    if status.state in IN_USE:
        state = _state(following)
        sentence = _sentence(status.check, state, following)
        before = status.last_passed
        reasons = status.because
    else:
        state = "unsupported"
        sentence = _NOT_IN_USE[status.state].format(status.check)
        origin = failed if status.state in FAILED else None
        before = status.last_passed if origin is None else origin.id
        reasons = status.because
        if origin is not None and all(one.entry != origin.id for one in reasons):
            reasons = (*reasons, Because(origin.id, None, f"{status.check} did not pass"))
    return KindSupport(
        status.check,
        status.required,
        state,
        before,
        following.check.id if following.check is not None else None,
        _unsettled(state, following, at),
        sentence,
        (*reasons, *_because(status.check, following)),
    )


def failing_support(check: str, following: Following, at: datetime) -> KindSupport:
    """Of a kind that is not required, where the first that follows fails."""
    assert following.check is not None  # noqa: S101  it is what fails
    return KindSupport(
        check,
        False,
        "in-doubt",
        None,
        following.check.id,
        _unsettled("in-doubt", following, at),
        _sentence(check, "in-doubt", following),
        tuple(_because(check, following)),
    )


def evidence(one: KindSupport, preceding: Preceding, following: Following) -> Iterator[Faults]:
    """The errors that failed checks of a kind show, one by one; one that tells none is empty."""
    failed = preceding.failed(one.check)
    if one.state == "unsupported" and failed is not None and failed.id == one.before:
        valid = preceding.holding(one.check)
        told = failed if valid is None else valid
        yield Faults(told.id, None if valid is None else valid.said, before=False)
    if one.state in ("in-doubt", "unsupported") and following.fails and following.check:
        gone = following.adjusted is not None
        check = following.check
        yield Faults(check.id, None if gone else check.said, before=True)


def _state(following: Following) -> State:
    if following.fails:
        return "in-doubt"
    if following.adjusted is not None:
        return "unconfirmed"
    return "supported" if following.passes else "open"


def _unsettled(state: State, following: Following, at: datetime) -> datetime:
    if state == "unconfirmed" and following.adjusted is not None:
        return following.adjusted.at
    if following.fails and following.check is not None:
        return following.check.at
    return at


def _sentence(check: str, state: State, following: Following) -> str:
    if state == "in-doubt":
        said = f"the first {check} check after it failed"
        if following.adjusted is not None:
            said += ", after the balance was adjusted: the error before that is not known"
        return said
    return {
        "supported": f"the {check} checks before and after it let the balance be used",
        "open": f"the {check} check before it let the balance be used; none has followed yet",
        "unconfirmed": f"the balance was adjusted or serviced before a {check} check looked at it: "
        "what it was like is not known",
    }[state]


def _because(check: str, following: Following) -> Iterator[Because]:
    if following.adjusted is not None:
        entry = following.adjusted
        done = "check that adjusted it" if entry.kind == "check" else entry.kind
        sentence = f"{done} {entry.at.isoformat()}: what the balance was like before is gone"
        yield Because(entry.id, None, sentence)
    if following.check is not None:
        entry = following.check
        says = "failed" if following.fails else "let the balance be used"
        yield Because(entry.id, None, f"{check} {says} {entry.at.isoformat()}, as found")
