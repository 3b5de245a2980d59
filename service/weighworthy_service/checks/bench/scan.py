"""Between which displayed values one reading of a check passes, by one of its criteria.

Every range is found by evaluating checks that differ in this reading, under the terms of the
profile with the limit of the one criterion alone, so that each reading has a range of its own.
What is asked of weights and sitting is left out: no display changes it.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction
from functools import cache
from math import floor
from types import MappingProxyType
from typing import Any, Final

from weighworthy_service.checks.bench.acceptance import Stretch, stretch
from weighworthy_service.checks.bench.reasons import reasons
from weighworthy_service.checks.flaws import SenseError
from weighworthy_service.checks.outcome import VERDICTS, Criterion, Evaluation, Verdict
from weighworthy_service.checks.terms import Terms
from weighworthy_service.metrology.limits import CriterionUnit
from weighworthy_service.metrology.quantity import EXACT

Evaluate = Callable[[Any, Terms], Evaluation]
Evaluated = Callable[[int], Evaluation | None]
# How often the distance to a stretch is doubled in search of a fail.
_REACH: Final = 16


@dataclass(frozen=True, slots=True)
class Band:
    """A verdict and the displayed values that get it; None: without end on that side."""

    verdict: Verdict
    usable: bool
    first: Decimal | None
    last: Decimal | None

    def holds(self, value: Decimal) -> bool:
        """Whether a displayed value is one of these."""
        above = self.first is None or self.first <= value
        return above and (self.last is None or value <= self.last)


@dataclass(frozen=True, slots=True)
class CardReading:
    """One reading and its bands, best verdict first; masses in g, losses in %, on the display.

    `given`: what the display showed before, which this range goes with. `required`: a check without
    the reading cannot pass. `criterion`: figures at the middle of the range; `criterion_as_left`
    those after an adjustment, where the range holds for both stages and the figures differ.
    `messages`: what keeps every displayed value from passing, when there is no band that passes.
    `elsewhere`: the verdicts of displayed values in no band.
    """

    reading: str
    criterion: Criterion | None
    step: Decimal
    unit: CriterionUnit
    bands: tuple[Band, ...]
    load: tuple[str, ...] = ()
    stage: str | None = None
    given: Decimal | None = None
    required: bool = True
    messages: tuple[str, ...] = ()
    elsewhere: tuple[Verdict, ...] = ()
    criterion_as_left: Criterion | None = None

    @property
    def passes(self) -> Band | None:
        """The displayed values that pass."""
        return next((band for band in self.bands if band.verdict == "pass"), None)

    def inside(self, otherwise: Decimal) -> Decimal:
        """A displayed value in the middle of the best; `otherwise` where there are no better."""
        if not self.bands:
            return otherwise
        band = self.bands[0]
        if band.first is None or band.last is None:
            return otherwise if band.holds(otherwise) else band.first or band.last or otherwise
        return on_grid((Fraction(band.first) + Fraction(band.last)) / 2, self.step)

    def nearest(self, value: Decimal) -> Decimal:
        """A value if it is among the best, otherwise one in the middle of those."""
        among = not self.bands or self.bands[0].holds(value)
        return value if among else self.inside(value)


def on_grid(value: Fraction, step: Decimal) -> Decimal:
    """What a display of this step shows of a value."""
    return EXACT.multiply(Decimal(floor(value / Fraction(step) + Fraction(1, 2))), step)


@dataclass(frozen=True, slots=True)
class Scan:
    """One reading to be scanned: `check_at` puts a displayed value into the check."""

    evaluate: Evaluate
    terms: Terms
    criterion: str
    step: Decimal
    unit: CriterionUnit
    check_at: Callable[[Decimal], Any]

    def find(self, near: Fraction, **about: Any) -> CardReading:
        """The reading with its bands; `near`: a value to begin at, in the unit."""
        terms = only(self.terms, self.criterion)

        @cache
        def at(count: int) -> Evaluation | None:
            try:
                return self.evaluate(self.check_at(self._value(count)), terms)
            except SenseError:  # a value that cannot be, like a load of nothing
                return None

        start = near / Fraction(self.step)
        middle = _middle(at, self.criterion, start)
        stretches = list(_stretches(at, terms, middle))
        bands = tuple(self._bands(stretches, terms))
        shown = at(round(middle)) or at(round(start))
        messages: tuple[str, ...] = ()
        if shown is not None and (not bands or bands[0].verdict != "pass"):
            messages = reasons(shown)
        criterion = None if shown is None else criterion_of(shown, self.criterion)
        return CardReading(
            criterion=criterion,
            step=self.step,
            unit=self.unit,
            bands=bands,
            messages=messages,
            elsewhere=_elsewhere(at, stretches[-1][1] if stretches else None, round(middle)),
            **about,
        )

    def _bands(self, stretches: Sequence[tuple[Verdict, Stretch]], terms: Terms) -> Iterator[Band]:
        seen: Stretch | None = None
        for verdict, found in stretches:
            for piece in _beyond(found, seen):
                yield Band(verdict, verdict in terms.use_on, *map(self._end, _ends(piece)))
            seen = found

    def _end(self, count: int | None) -> Decimal | None:
        return None if count is None else self._value(count)

    def _value(self, count: int) -> Decimal:
        return EXACT.multiply(Decimal(count), self.step)


def only(terms: Terms, *criteria: str) -> Terms:
    """The terms with these limits alone, and without what no single reading decides.

    That is counts that a part of a check cannot reach, and what is asked of weights and sitting.
    """
    limits = {name: limit for name, limit in terms.limits.items() if name in criteria}
    stages = {stage: only(of_stage, *criteria) for stage, of_stage in terms.stages.items()}
    return replace(
        terms,
        limits=MappingProxyType(limits),
        validity=replace(
            terms.validity,
            rounds=None,
            points=None,
            placings=None,
            runs=None,
            set_points=None,
            warm_up=None,
            weights_in_date=None,
            weights_in_class=None,
        ),
        stages=MappingProxyType(stages),
    )


def criterion_of(evaluation: Evaluation, name: str) -> Criterion | None:
    """The criterion of that name, judged if any of them is."""
    named = [c for c in evaluation.criteria if c.name == name]
    return next((c for c in named if c.verdict is not None), named[0] if named else None)


def _stretches(at: Evaluated, terms: Terms, middle: Fraction) -> Iterator[tuple[Verdict, Stretch]]:
    """The displayed values that get a verdict or a better one, best first."""
    verdicts: list[Verdict] = ["pass"]
    if terms.decision.rule == "four-way" or any(
        of_stage.decision.rule == "four-way" for of_stage in terms.stages.values()
    ):
        verdicts += ["conditional-pass"]
        verdicts += ["conditional-fail"] if "conditional-fail" in terms.use_on else []
    for verdict in verdicts:
        found = stretch(_no_worse(at, verdict), middle)
        if found is not None:
            yield verdict, found


def _elsewhere(at: Evaluated, widest: Stretch | None, middle: int) -> tuple[Verdict, ...]:
    """The verdicts beyond a stretch, or of all displayed values: near, then ever farther."""
    below, above = (middle, middle) if widest is None else _ends(widest)
    met = set() if widest is not None or (here := at(middle)) is None else {here.verdict}
    for start, direction in ((below, -1), (above, 1)):
        if start is None:
            continue
        for reach in range(_REACH):
            beyond = at(start + direction * 2**reach)
            if beyond is not None:
                met.add(beyond.verdict)
                if beyond.verdict == "fail":
                    break
    return tuple(verdict for verdict in VERDICTS if verdict in met)


def _no_worse(at: Evaluated, verdict: Verdict) -> Callable[[int], bool]:
    best = VERDICTS[: VERDICTS.index(verdict) + 1]

    def accepts(count: int) -> bool:
        evaluation = at(count)
        return evaluation is not None and evaluation.verdict in best

    return accepts


def _middle(at: Evaluated, name: str, start: Fraction) -> Fraction:
    """Where the criterion lies in the middle of its limits; `start` where it has not two."""
    here, next_ = (at(floor(start) + more) for more in (0, 1))
    if here is None or next_ is None:
        return start
    one, two = criterion_of(here, name), criterion_of(next_, name)
    if one is None or two is None or one.value is None or two.value is None:
        return start
    slope = Fraction(two.value) - Fraction(one.value)
    if one.lower_limit is None or one.upper_limit is None or not slope:
        return start
    return floor(start) + ((one.lower_limit + one.upper_limit) / 2 - Fraction(one.value)) / slope


def _ends(piece: Stretch) -> tuple[int | None, int | None]:
    return piece.first, piece.last


def _beyond(found: Stretch | None, seen: Stretch | None) -> Iterator[Stretch]:
    """What a wider stretch has on either side of a narrower one within it."""
    if found is None:
        return
    if seen is None:
        yield found
        return
    if seen.first is not None and found.first != seen.first:
        yield Stretch(found.first, seen.first - 1)
    if seen.last is not None and found.last != seen.last:
        yield Stretch(seen.last + 1, found.last)
