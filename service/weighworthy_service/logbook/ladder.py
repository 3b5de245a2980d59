"""From a failed check back into use: attempts, the ladder they climb, and its next step.

An attempt is every check of the kind after the one that failed, valid or void, until one restores
use. It is made on the rung of what was done since the check before: `service`, else `adjust`, else
`repeat`. An attempt may skip rungs and never goes back to one; on a rung that the ladder does not
have it counts against the present one. A ladder that came to its end, or to `out-of-service`, is
used up: a check that passes then restores nothing unless a service, or a decision to take the
balance back, came before it. Otherwise bounded tries would come to testing until it passes.
"""

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import NamedTuple

from weighworthy_service.checks.registry import BY_SLUG
from weighworthy_service.logbook.entries import Because, Entry
from weighworthy_service.logbook.requirements import Requirement

_OUT = "out-of-service"


class NextStep(NamedTuple):
    """What has to be done. `by`: the last moment, None: now, or no moment is known.

    `step`: none, check, repeat, adjust, service, out-of-service, back-in-service, decide; `check`:
    the kind it concerns; `tries_done` of `tries_allowed` on this rung of the ladder.
    """

    step: str
    check: str | None
    by: datetime | None
    tries_done: int | None
    tries_allowed: int | None
    sentence: str
    because: tuple[Because, ...]


class Failure:
    """A kind of check from the one that took the balance out of use until one restores it.

    `ended`: the pass that did; `uncounted`: the last that did not, for no try was left. `beside`:
    of checks of other kinds that adjusted the balance meanwhile, by id, the failure of their own
    kind in which they were made.
    """

    __slots__ = (
        "_chain",
        "_last_try",
        "_position",
        "_since",
        "_used",
        "beside",
        "check",
        "ended",
        "failed",
        "origin",
        "released",
        "steps",
        "uncounted",
    )

    def __init__(self, origin: Entry, requirement: Requirement | None) -> None:
        self.origin = origin
        self.check = origin.said.check if origin.said is not None else ""
        self.steps = requirement.response if requirement else ()
        self.failed = _valid(origin)
        self.released: Entry | None = None
        self.ended: Entry | None = None
        self.uncounted: Entry | None = None
        self.beside: dict[str, Failure] = {}
        self._chain = [(origin, _outcome(origin))]
        self._last_try: tuple[tuple[Entry, str], ...] = ()
        self._position = 0
        self._used = [0] * len(self.steps)
        # What was done to the balance since the last check of the kind, by the rung it makes.
        self._since: dict[str, Entry] = {}

    @property
    def used_up(self) -> bool:
        """Whether no further try is allowed; without a ladder a person decides how often."""
        if not self.steps:
            return False
        return self._position == len(self.steps) or self.steps[self._position].step == _OUT

    @property
    def may_end(self) -> bool:
        """Whether a check that passes restores use."""
        return self.released is not None or not self.used_up

    def touched(self, entry: Entry, own: "Failure | None" = None) -> None:
        """An adjustment, service or back-in-service, or a check of another kind that adjusted;
        `own`: the failure of that kind in which it was made."""
        if own is not None:
            self.beside[entry.id] = own
        if entry.kind in ("service", "back-in-service") and self.used_up:
            self.released = entry
        if entry.kind != "back-in-service":
            rung = "service" if entry.kind == "service" else "adjust"
            self._since.pop(rung, None)  # they stay in order of time
            self._since[rung] = entry

    def attempt(self, entry: Entry) -> None:
        """A check of the kind that did not restore use."""
        news = _valid(entry) and not _passes(entry) and not self.failed
        if _valid(entry) and _passes(entry):
            self.uncounted = entry
        if self.steps and not self.used_up:
            self._climb(entry)
        elif self.released is not None:
            # Of such tries the last shows that there is none left.
            self._last_try = (
                (self.released, f"{self.released.kind}: one more try"),
                (entry, f"that try: {_outcome(entry)}"),
            )
            self.released = None
        elif news:
            self._last_try = (*self._last_try, (entry, _outcome(entry)))
        if news:
            self._chain += self._last_try
            self._last_try = ()
        self.failed = self.failed or news
        self._since.clear()

    def _climb(self, entry: Entry) -> None:
        adjusted = entry.said is not None and entry.said.adjusted
        rung = "repeat"
        if "service" in self._since:
            rung = "service"
        elif "adjust" in self._since or adjusted:
            rung = "adjust"
        self._chain += [(one, _DONE[name]) for name, one in self._since.items()]
        self._chain.append((entry, f"try ({rung}): {_outcome(entry)}"))
        names = [step.step for step in self.steps]
        if rung in names:
            self._position = max(self._position, names.index(rung))
        self._used[self._position] += 1
        while not self.used_up and self._used[self._position] >= self.steps[self._position].times:
            self._position += 1

    def because(self) -> tuple[Because, ...]:
        """The checks and what was done between them, as far as they count."""
        told = [*self._chain, *self._last_try]
        told += [(entry, _DONE[rung]) for rung, entry in self._since.items()]
        if self.released is not None and all(self.released is not one for one, _ in told):
            told.append((self.released, "back in service: one more try"))
        return tuple(
            Because(entry.id, None, f"{sentence} {entry.at.isoformat()}")
            for entry, sentence in told
        )

    def next_step(self, check: str, place: str | None, out_by_entry: Entry | None) -> NextStep:
        """The step that the ladder asks for now; `place` is that of its rule, and `out_by_entry`
        what took the balance out of service and still holds."""
        because = self.because()
        if not self.steps:
            sentence = (
                f"{check} failed, and no rule says what to do then: the responsible person decides"
            )
            return NextStep("decide", check, None, None, None, sentence, because)
        rule = Because(None, place, "after a failure: " + _in_words(self))
        because = (*because, rule)
        if self.used_up and self.released is None:
            if out_by_entry is not None:
                said = f"taken out of service {out_by_entry.at.isoformat()}"
                because = (*because, Because(out_by_entry.id, None, said))
                sentence = f"the tries after the failed {check} are used up: service is needed"
                return NextStep("service", check, None, None, None, sentence, because)
            sentence = (
                f"the tries after the failed {check} are used up: say by an entry that it is out "
                "of service"
            )
            return NextStep(_OUT, check, None, None, None, sentence, because)
        if self.used_up:
            sentence = f"check {check} again: one try, since the ladder was used up"
            return NextStep("check", check, None, None, None, sentence, because)
        rung = self.steps[self._position]
        done = self._used[self._position]
        if "service" in self._since or ("adjust" in self._since and rung.step != "service"):
            sentence = f"check {check} again, after what was done"
            return NextStep("check", check, None, done, rung.times, sentence, because)
        step = _with(rung.step, check)
        sentence = f"{_TO_DO[step].format(check)} (done {done} of {rung.times} times on this step)"
        return NextStep(rung.step, check, None, done, rung.times, sentence, because)


def closed(reasons: Iterable[Because], beside: Mapping[str, Failure]) -> tuple[Because, ...]:
    """Reasons, and what keeps checks among them from saying more than they are cited for.

    A check that adjusted is cited for that by other kinds. Where it failed, or was a try after a
    failure, it would take its own kind out of use, were it not for that failure as a whole, up to
    the pass that ended it. `beside`: such failures, by the id of the check.
    """
    told, known = list(reasons), dict(beside)
    done: set[Failure] = set()
    for one in told:  # it grows on the way
        failure = known.get(one.entry) if one.entry is not None else None
        if failure is None or failure in done:
            continue
        done.add(failure)
        known.update(failure.beside)
        told += failure.because()
        if failure.ended is not None:
            told.append(_ended(failure.ended))
    return tuple(dict.fromkeys(told))


def _ended(entry: Entry) -> Because:
    kind = entry.said.check if entry.said is not None else entry.kind
    sentence = f"{kind} passed {entry.at.isoformat()}, which ended its own failure"
    return Because(entry.id, None, sentence)


_DONE = {"adjust": "the balance was adjusted", "service": "the balance was serviced"}
_TO_DO = {
    "repeat": "repeat {} with clean pan and clean weights",
    "repeat-weightless": "repeat {} with a clean pan",
    "adjust": "adjust, then check {} again",
    "service": "have the balance serviced, then check {} again",
}


def _with(step: str, check: str) -> str:
    """The step of that name for a kind of check: without weights there are none to clean."""
    kind = BY_SLUG.get(check)
    weights = kind is None or kind.form.fields["weights"].required
    return step if weights or step != "repeat" else "repeat-weightless"


def _valid(entry: Entry) -> bool:
    return entry.said is not None and entry.said.valid


def _passes(entry: Entry) -> bool:
    return entry.said is not None and entry.said.usable is True


def _outcome(entry: Entry) -> str:
    if entry.said is None:
        return ""
    if _valid(entry):
        return f"{entry.said.check} {'passed' if entry.said.usable else 'failed'}"
    if entry.said.would_let_use is False:
        return f"{entry.said.check} void, and would have failed"
    if entry.said.fails:
        return f"{entry.said.check} failed as found, and what came then is void"
    return f"{entry.said.check} void"


def _in_words(failure: Failure) -> str:
    return ", ".join(
        step.step if step.step == _OUT else f"{step.step} (at most {step.times})"
        for step in failure.steps
    )
