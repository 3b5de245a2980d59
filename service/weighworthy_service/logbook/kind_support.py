"""How one kind of check supports one result."""

from collections.abc import Iterator
from datetime import datetime
from types import MappingProxyType
from typing import Final, NamedTuple

from weighworthy_service.logbook.entries import ADJUSTING, Because, Entry
from weighworthy_service.logbook.following import Following
from weighworthy_service.logbook.kind_standing import IN_USE, KindStatus
from weighworthy_service.logbook.ladder import Failure, closed
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
        self._let_go: dict[str, Entry] = {}

    def take(self, entry: Entry) -> None:
        """Take the next entry."""
        said = entry.said
        if entry.kind in ADJUSTING or (said is not None and said.adjusted):
            self._let_go.update(dict.fromkeys(self._holding, entry))
            self._holding.clear()
        if said is None:
            return
        if said.valid and said.usable is False:
            self._failed[said.check] = self._holding[said.check] = entry
        elif said.valid and said.usable and self._holding.pop(said.check, None) is not None:
            self._let_go[said.check] = entry
        elif said.fails:
            # It takes the balance out, but its figures are void.
            self._failed[said.check] = entry

    def failed(self, check: str) -> Entry | None:
        """The last check of a kind that failed, or was void and would have."""
        return self._failed.get(check)

    def holding(self, check: str) -> Entry | None:
        """The last valid one, if no pass came since and nothing changed the balance."""
        return self._holding.get(check)

    def let_go(self, check: str) -> Entry | None:
        """What ended that the errors of the last valid one hold."""
        return None if check in self._holding else self._let_go.get(check)


def required_support(status: KindStatus, following: Following, at: datetime) -> KindSupport:
    """Of a kind with this status when a result was measured, that was not failed."""
    state: State = "unsupported"
    sentence = _NOT_IN_USE.get(status.state, "").format(status.check)
    if status.state in IN_USE:
        state = _state(following)
        sentence = _sentence(status.check, state, following)
    return KindSupport(
        status.check,
        status.required,
        state,
        status.last_passed,
        following.check.id if following.check is not None else None,
        _unsettled(state, following, at),
        sentence,
        (*status.because, *_because(status.check, following)),
    )


def failed_support(
    failure: Failure,
    preceding: Preceding,
    following: Following,
    at: datetime,
    *,
    required: bool,
) -> KindSupport:
    """Of a kind that was failed when a result was measured.

    The reasons are what makes it so and what shows the error; the tries in between bear on neither.
    Only where a pass did not end the failure, for the tries were used up, they all do.
    """
    check = failure.check
    last, holding = preceding.failed(check), preceding.holding(check)
    gone = preceding.let_go(check)
    reasons: dict[str, Because] = {}
    for entry in (failure.origin, holding, last):
        if entry is not None and entry.at >= failure.origin.at:
            said = f"{check} did not pass {entry.at.isoformat()}"
            reasons.setdefault(entry.id, Because(entry.id, None, said))
    told = list(reasons.values())
    if gone is not None and gone.at >= failure.origin.at:
        said = f"{gone.kind} {gone.at.isoformat()}: the error found before need not hold since"
        told.append(Because(gone.id, None, said))
        own = gone.said is not None and gone.said.check == check
        told += failure.because() if own else ()
    state = "failed" if failure.failed else "failed-void"
    return KindSupport(
        check,
        required,
        "unsupported",
        last.id if last is not None else failure.origin.id,
        following.check.id if following.check is not None else None,
        _unsettled("unsupported", following, at),
        _NOT_IN_USE[state].format(check),
        (*closed(told, failure.beside), *_because(check, following)),
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
