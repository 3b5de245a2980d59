"""Where the checks of a sitting agree and where not, and what can be behind a value that failed.

Each cause is held to be alone: how large would it have to be for this value, and which other value
leaves it no such size? No cause gets a probability: nothing in a sitting tells how frequent it is.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from weighworthy_service.checks.causes import Cause, Size, apart
from weighworthy_service.checks.outcome import Criterion
from weighworthy_service.sittings.judged import JudgedCheck
from weighworthy_service.sittings.next_check import Next, next_checks
from weighworthy_service.sittings.overall import FAILING
from weighworthy_service.sittings.sights import Shown, Sights
from weighworthy_service.sittings.words import CAUSES

State = Literal["possible", "not-alone", "contradicted"]


@dataclass(frozen=True, slots=True)
class Explaining:
    """A cause that acts on a failed value, with the size it would need and what bounds that.

    `possible`: no other value leaves it out. `not-alone`: only values that failed themselves do,
    so that it can be there together with another cause. `contradicted`: a value that is in order
    does.
    """

    cause: Cause
    needed: Size
    state: State
    bounds: tuple[Shown, ...]

    def agrees(self, bound: Shown) -> bool:
        """Whether that value leaves the cause a size it needs."""
        return not apart(self.needed, bound.sight.size)


@dataclass(frozen=True, slots=True)
class Failed:
    """A value that is outside its limits, and all that can have moved it.

    `cannot`: names of causes that do not act on it at all.
    """

    judged: JudgedCheck
    criterion: Criterion
    causes: tuple[Explaining, ...]
    cannot: tuple[str, ...]
    next: tuple[Next, ...]


@dataclass(frozen=True, slots=True)
class Compared:
    """Two checks on one quantity, in g: each with what it allows it to be."""

    cause: Cause
    one: Shown
    other: Shown

    @property
    def agrees(self) -> bool:
        """Whether there is a size that both allow."""
        return not apart(self.one.sight.size, self.other.sight.size)


@dataclass(frozen=True, slots=True)
class Evidence:
    """All that is told of causes. `alone`: causes that explain all failed values, with the size
    that all of these allow; `silent`: positions of checks of which no cause is known."""

    failed: tuple[Failed, ...]
    alone: tuple[tuple[Cause, Size], ...]
    compared: tuple[Compared, ...]
    silent: tuple[int, ...]


def evidence(judged: Sequence[JudgedCheck], sights: Sights) -> Evidence:
    """What the checks of a sitting say of each other."""
    failed = tuple(
        _failed(one, criterion, judged, sights)
        for one in judged
        for criterion in one.evaluation.criteria
        if criterion.verdict in FAILING
    )
    silent = [one.index for one in judged if one.kind.part("causes") is None]
    return Evidence(failed, tuple(_alone(failed)), tuple(_compared(sights)), tuple(silent))


def _failed(
    one: JudgedCheck, criterion: Criterion, judged: Sequence[JudgedCheck], sights: Sights
) -> Failed:
    causes = tuple(
        sorted(
            (_explaining(shown, sights.about(shown)) for shown in sights.of(one, criterion)),
            key=lambda found: _order(found.cause),
        )
    )
    acting = {found.cause.name for found in causes}
    # What a kind cannot size may act on it all the same.
    ruled_out = getattr(one.kind.part("causes"), "CANNOT", CAUSES)
    cannot = tuple(name for name in CAUSES if causes and name in ruled_out and name not in acting)
    possible = [found.cause for found in causes if found.state != "contradicted"]
    return Failed(one, criterion, causes, cannot, next_checks(possible, one, judged))


def _explaining(shown: Shown, bounds: Sequence[Shown]) -> Explaining:
    needed = shown.sight.size
    against = [bound for bound in bounds if apart(needed, bound.sight.size)]
    state: State = "possible"
    if against:
        state = "not-alone" if all(bound.fails for bound in against) else "contradicted"
    return Explaining(shown.cause, needed, state, tuple(bounds))


def _order(cause: Cause) -> tuple[int, str]:
    names = list(CAUSES)
    place = names.index(cause.name) if cause.name in names else len(names)
    return place, cause.about or ""


def _alone(failed: Sequence[Failed]) -> Iterator[tuple[Cause, Size]]:
    """Causes that are possible for every failed value of a check that counts, in one size."""
    counting = [one for one in failed if one.judged.evaluation.verdict != "void"]
    if not counting:
        return
    for first in counting[0].causes:
        each = [
            next((found for found in one.causes if found.cause == first.cause), None)
            for one in counting
        ]
        if any(found is None or found.state != "possible" for found in each):
            continue
        sizes = [found.needed for found in each if found is not None]
        size = max(low for low, _ in sizes), min(high for _, high in sizes)
        if size[0] <= size[1]:
            yield first.cause, size


def _compared(sights: Sights) -> Iterator[Compared]:
    """Errors of one load, and departures between two loads, of different checks."""
    for shown in sights.all:
        loads = shown.cause.loads
        if shown.cause.name != "departure" or shown.sight.what is not None or not shown.counts:
            continue
        if len(loads) > 1:
            about = shown.cause
        elif shown.state is not None:
            about = Cause("error", "g", loads=loads)
        else:
            continue  # a departure from one of the lines of a check, which no other has
        for other in sights.asked(about, shown.state):
            if other.index != shown.index:
                yield Compared(about, shown, other)
