"""Everything that the checks of a sitting show of causes, each with the check that shows it."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

from weighworthy_service.checks.causes import Cause, Sight
from weighworthy_service.checks.outcome import Criterion
from weighworthy_service.sittings.judged import JudgedCheck


@dataclass(frozen=True, slots=True)
class Shown:
    """What one value of one check says of a cause, which is named as in all of the sitting.

    `counts`: the check is not void, so that it can speak against a cause. `fails`: the value is
    off itself, so that what it says is true only if the cause is alone. `state`: how many times the
    balance had been adjusted by then; None: adjusting does not change the value.
    """

    index: int
    check: str
    cause: Cause
    sight: Sight
    counts: bool
    fails: bool
    state: int | None

    def knows(self, other: "Shown") -> bool:
        """Whether both saw the balance adjusted alike, as far as that matters to them."""
        return None in (self.state, other.state) or self.state == other.state


class Sights:
    """What is shown by the checks of a sitting; those before an adjustment saw another gain."""

    def __init__(self, judged: Sequence[JudgedCheck]) -> None:
        self._judged = judged
        self._before: list[int] = []
        adjusted = 0
        for one in judged:
            self._before.append(adjusted)
            adjusted += one.adjustments
        self._answers: dict[tuple[Cause, int | None], list[Shown]] = {}
        self.all = [shown for one in judged for shown in self._of(one)]

    def state(self, one: JudgedCheck) -> int:
        """How many times the balance had been adjusted before a check."""
        return self._before[self._judged.index(one)]

    def of(self, one: JudgedCheck, criterion: Criterion) -> list[Shown]:
        """What a criterion shows itself."""
        return [
            shown
            for shown in self.all
            if shown.index == one.index
            and shown.sight.criterion == criterion.key
            and shown.sight.what is None
        ]

    def about(self, failed: Shown) -> list[Shown]:
        """What all other values show of its cause, from checks that count."""
        found = [
            shown
            for shown in self.all
            if shown.cause == failed.cause
            and shown is not failed
            and shown.counts
            and not shown.sight.picked
        ]
        if failed.cause.loads:
            found += self.asked(failed.cause)
        return [shown for shown in found if shown.knows(failed)]

    def asked(self, cause: Cause, state: int | None = None) -> list[Shown]:
        """What checks say when they are asked of a cause; `state`: only at that adjustment."""
        if (cause, state) not in self._answers:
            self._answers[cause, state] = list(self._asked(cause, state))
        return self._answers[cause, state]

    def _asked(self, cause: Cause, state: int | None) -> Iterator[Shown]:
        for one in self._judged:
            ask = getattr(one.kind.part("causes"), "asked", None)
            if ask is None or (state is not None and self.state(one) != state):
                continue
            sight = ask(one.check, one.terms, cause)
            if sight is not None and one.evaluation.verdict != "void":
                yield self._shown(one, sight, cause)

    def _of(self, one: JudgedCheck) -> Iterator[Shown]:
        part = one.kind.part("causes")
        if part is None:
            return
        for sight in part.sights(one.check, one.terms, one.evaluation):
            if sight.acts:
                yield self._shown(one, sight, self._named(one, sight.cause))

    def _named(self, one: JudgedCheck, cause: Cause) -> Cause:
        """The cause by a name that holds in the whole sitting."""
        more: dict[str, Any] = {}
        if cause.only is not None:
            more["only"] = f"{one.index} {cause.only}"
        if cause.after is not None:
            more["after"] = self.state(one) + cause.after
        return replace(cause, **more) if more else cause

    def _shown(self, one: JudgedCheck, sight: Sight, cause: Cause) -> Shown:
        verdict = one.evaluation.verdict
        if sight.what is None:
            of = {criterion.key: criterion.verdict for criterion in one.evaluation.criteria}
            verdict = of[sight.criterion]
        fails = verdict in ("conditional-fail", "fail")
        counts = one.evaluation.verdict != "void"
        state = None if sight.after is None else self.state(one) + sight.after
        return Shown(one.index, one.kind.slug, cause, sight, counts, fails, state)
