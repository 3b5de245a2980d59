"""Whether a kind of check is done often enough on a balance, or on a group of balances alike.

Only the regular interval is advised upon. A check that an event asked for (`after`) tells what the
event did, not what the interval does: it is no trial, and no advice ever touches it.
"""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import ceil, exp, inf, log
from types import MappingProxyType
from typing import Final, Literal

from weighworthy_service.logbook.entries import Because
from weighworthy_service.logbook.reliability import (
    Bounds,
    Trial,
    kept,
    probability_alike,
    rate,
    share,
)
from weighworthy_service.logbook.trials import DAY, History

# Common practice, no source: no interval is stretched to more than twice its length at once.
_MOST_LONGER: Final = 2
# Below this chance a group is not taken for one of a kind.
_UNLIKE: Final = 0.05
_WHY_NOT: Final = MappingProxyType(
    {
        "after-event": "an event asked for it",
        "not-from-tolerance": "nothing before it left the balance in tolerance",
        "no-time-between": "no time passed since the balance was left in tolerance",
        "says-nothing-before": "it says nothing of the time before it",
    }
)

Word = Literal["longer", "keep", "shorter", "cannot-tell"]


@dataclass(frozen=True, slots=True)
class Advice:
    """What the history says of the interval. Times in s.

    `share`: of checks that found the balance in tolerance; `rate`: at which it goes out, per s;
    `reliability`: at the end of the present interval; `keeps`: how long the wanted one is kept
    (inf: no end is seen); `alike`: see `probability_alike`. None: no trials, or no interval.
    `because` names every check that counted or was left out, and what an interval began with.
    """

    advice: Word
    current: float | None
    proposed: float | None
    reasons: tuple[str, ...]
    trials: int
    failures: int
    share: Bounds | None
    rate: Bounds | None
    reliability: Bounds | None
    keeps: Bounds | None
    alike: float | None
    because: tuple[Because, ...]


def advise(
    histories: Mapping[str, History],
    current: float | None,
    reliability: float = 0.95,
    confidence: float = 0.95,
    occasions: Collection[str] = frozenset(),
) -> Advice:
    """Advice on an interval, from one balance or from a group that is taken for one of a kind.

    `reliability`: wanted share of balances in tolerance at the end of the interval, in (0, 1);
    `current` interval in s.
    """
    groups = [one.trials for one in histories.values()]
    trials = [trial for group in groups for trial in group]
    failures = sum(not trial.in_tolerance for trial in trials)
    kept_apart = _kept_apart(occasions)
    if not trials:
        return _nothing(current, kept_apart, tuple(_because(histories.values())))
    parts = share(len(trials) - failures, len(trials), confidence)
    rates = rate(trials, confidence)
    keeps, alike = kept(rates, reliability), probability_alike(groups)
    reasons = [*_figures(trials, parts, keeps, reliability, confidence)]
    word: Word
    if alike is not None and alike < _UNLIKE:
        word, proposed = "cannot-tell", None
        why = (
            f"The balances do not look alike (chance {alike:.2g} if one rate held for all): see "
            "the advice on each by itself."
        )
    else:
        word, proposed, why = _decided(current, keeps, trials, reliability, confidence)
    return Advice(
        word,
        current,
        proposed,
        (*reasons, why, *kept_apart),
        len(trials),
        failures,
        parts,
        rates,
        None if current is None else Bounds(*(exp(-r * current) for r in _turned(rates))),
        keeps,
        alike,
        tuple(_because(histories.values())),
    )


def _decided(
    current: float | None,
    keeps: Bounds,
    trials: Sequence[Trial],
    reliability: float,
    confidence: float,
) -> tuple[Word, float | None, str]:
    if current is None:
        return "cannot-tell", None, "The profile sets no interval: only events ask for this check."
    now = spoken(current)
    if keeps.low > current:
        proposed = min(keeps.low, _MOST_LONGER * current)
        why = f"Even the lower bound is longer than the present interval of {now}"
        if keeps.low > proposed:
            why += "; more than a doubling at once is not advised (common practice, no source)"
        return "longer", proposed, f"{why}."
    if keeps.high < current:
        why = f"Even the upper bound is shorter than the present interval of {now}."
        # Where every check failed nothing says how long it lasts, only for how long at most.
        return "shorter", keeps.value or keeps.high, why
    if 2 * keeps.low >= current and keeps.value >= current:
        why = (
            f"The present interval of {now} agrees with what was found, and is at worst twice as "
            "long as it should be."
        )
        return "keep", current, why
    if keeps.value == inf:
        more = ceil(
            (-log(1 - confidence) / -log(reliability) * current - _served(trials)) / current
        )
        why = (
            f"No failure was found, but to show the wanted reliability at the present interval of "
            f"{now} takes {max(1, more)} more checks without one."
        )
        return "cannot-tell", None, why
    why = f"The present interval of {now} lies between the bounds, which are too wide to decide."
    return "cannot-tell", None, why


def _figures(
    trials: Sequence[Trial], parts: Bounds, keeps: Bounds, reliability: float, confidence: float
) -> Iterable[str]:
    failures = sum(not trial.in_tolerance for trial in trials)
    yield (
        f"{len(trials) - failures} of {len(trials)} checks found the balance in tolerance: "
        f"{_percent(parts.value)} ({_percent(parts.low)} to {_percent(parts.high)} at "
        f"{_percent(confidence)} confidence)."
    )
    wanted = f"A reliability of {_percent(reliability)}"
    if not failures:
        yield f"{wanted} is kept for at least {spoken(keeps.low)} (no failure was found)."
    elif failures == len(trials):
        yield f"{wanted} is kept for at most {spoken(keeps.high)} (every check failed)."
    else:
        yield (
            f"{wanted} is kept for {spoken(keeps.value)} ({spoken(keeps.low)} to "
            f"{spoken(keeps.high)}), if balances go out of tolerance at a constant rate."
        )


def _nothing(
    current: float | None, kept_apart: tuple[str, ...], because: tuple[Because, ...]
) -> Advice:
    why = "No check of this kind tells what became of a balance that was in tolerance before."
    reasons = (why, *kept_apart)
    return Advice(
        "cannot-tell", current, None, reasons, 0, 0, None, None, None, None, None, because
    )


def _kept_apart(occasions: Collection[str]) -> tuple[str, ...]:
    if not occasions:
        return ()
    return (f"Checks after these stay as they are: {', '.join(sorted(occasions))}.",)


def _because(histories: Iterable[History]) -> Iterator[Because]:
    for one in histories:
        checks = {trial.entry for trial in one.trials} | {check.entry for check in one.apart}
        for since in sorted({trial.since for trial in one.trials} - checks):
            yield Because(since, None, "an interval begins here")
        for trial in one.trials:
            found = "in" if trial.in_tolerance else "out of"
            after = f"{spoken(trial.elapsed)} after {trial.since}"
            yield Because(trial.entry, None, f"{found} tolerance {after}")
        for check in one.apart:
            yield Because(check.entry, None, f"no trial: {_WHY_NOT[check.why]}")
            if check.event is not None and check.why == "no-time-between":
                if check.event not in checks:
                    yield Because(check.event, None, f"at the same time as the check {check.entry}")
            elif check.event is not None:
                yield Because(check.event, None, f"asked for the check {check.entry}")


def _served(trials: Iterable[Trial]) -> float:
    return sum(trial.elapsed for trial in trials)


def _turned(rates: Bounds) -> Bounds:
    """In the order in which reliabilities grow."""
    return Bounds(rates.value, rates.high, rates.low)


def spoken(seconds: float) -> str:
    """A time in words, to two digits: hours below two days."""
    if seconds == inf:
        return "any time"
    number, unit = (seconds / 3600, "h") if seconds < 2 * DAY else (seconds / DAY, "days")
    return f"{float(f'{number:.2g}'):g} {unit}"


def _percent(part: float) -> str:
    return f"{100 * part:.4g} %"
