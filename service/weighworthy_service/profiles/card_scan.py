"""Between which displayed values one reading of a check passes, by one of its criteria.

Every range is found by evaluating checks that differ in this reading, under the terms of the
profile with the limit of the one criterion alone, so that each reading has a range of its own.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction
from functools import cache
from math import floor
from types import MappingProxyType
from typing import Any, Literal

from weighworthy_service.checks.flaws import SenseError
from weighworthy_service.checks.kind import Kind
from weighworthy_service.checks.outcome import VERDICTS, Criterion, Evaluation, Verdict
from weighworthy_service.checks.terms import Terms
from weighworthy_service.metrology.quantity import EXACT
from weighworthy_service.profiles.acceptance import Stretch, stretch

Evaluated = Callable[[int], Evaluation | None]


@dataclass(frozen=True, slots=True)
class Band:
    """A verdict and the displayed values that get it; None: without end on that side."""

    verdict: Verdict
    usable: bool
    first: Decimal | None
    last: Decimal | None


@dataclass(frozen=True, slots=True)
class CardReading:
    """One reading and its bands, best verdict first; masses in g, losses in %, on the display.

    `given`: what the display showed before, which this range goes with. `required`: a check without
    the reading cannot pass. `criterion`: figures at the middle of the range. `messages`: what keeps
    every displayed value from passing, when there is no band that passes.
    """

    reading: Literal["indication", "zero_after", "difference", "initial", "final", "displayed_loss"]
    criterion: Criterion | None
    step: Decimal
    unit: Literal["g", "%"]
    bands: tuple[Band, ...]
    load: tuple[str, ...] = ()
    stage: str | None = None
    given: Decimal | None = None
    required: bool = True
    messages: tuple[str, ...] = ()

    @property
    def passes(self) -> Band | None:
        """The displayed values that pass."""
        return next((band for band in self.bands if band.verdict == "pass"), None)

    def inside(self, otherwise: Decimal) -> Decimal:
        """A displayed value in the middle of those that pass; `otherwise` where none does."""
        band = self.passes
        if band is None:
            return otherwise
        if band.first is None or band.last is None:
            return band.first or band.last or otherwise
        return on_grid((Fraction(band.first) + Fraction(band.last)) / 2, self.step)


def on_grid(value: Fraction, step: Decimal) -> Decimal:
    """What a display of this step shows of a value."""
    return EXACT.multiply(Decimal(floor(value / Fraction(step) + Fraction(1, 2))), step)


@dataclass(frozen=True, slots=True)
class Scan:
    """One reading to be scanned: `check_at` puts a displayed value into the check."""

    kind: Kind
    terms: Terms
    criterion: str
    step: Decimal
    unit: Literal["g", "%"]
    check_at: Callable[[Decimal], Any]

    def find(self, near: Fraction, **about: Any) -> CardReading:
        """The reading with its bands; `near`: a value to begin at, in the unit."""
        terms = only(self.terms, self.criterion)

        @cache
        def at(count: int) -> Evaluation | None:
            try:
                return self.kind.evaluate(self.check_at(self._value(count)), terms)
            except SenseError:  # a value that cannot be, like a load of nothing
                return None

        start = near / Fraction(self.step)
        middle = _middle(at, self.criterion, start)
        bands = tuple(self._bands(at, terms, middle))
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
            **about,
        )

    def _bands(self, at: Evaluated, terms: Terms, middle: Fraction) -> Iterator[Band]:
        verdicts: list[Verdict] = ["pass"]
        if terms.decision.rule == "four-way" or any(
            of_stage.decision.rule == "four-way" for of_stage in terms.stages.values()
        ):
            verdicts += ["conditional-pass"]
            verdicts += ["conditional-fail"] if "conditional-fail" in terms.use_on else []
        seen: Stretch | None = None
        for verdict in verdicts:
            found = stretch(_no_worse(at, verdict), middle)
            for piece in _beyond(found, seen):
                yield Band(verdict, verdict in terms.use_on, *map(self._end, _ends(piece)))
            seen = found or seen

    def _end(self, count: int | None) -> Decimal | None:
        return None if count is None else self._value(count)

    def _value(self, count: int) -> Decimal:
        return EXACT.multiply(Decimal(count), self.step)


def only(terms: Terms, *criteria: str) -> Terms:
    """The terms with these limits alone, and without counts that a part of a check cannot reach."""
    limits = {name: limit for name, limit in terms.limits.items() if name in criteria}
    stages = {stage: only(of_stage, *criteria) for stage, of_stage in terms.stages.items()}
    return replace(
        terms,
        limits=MappingProxyType(limits),
        validity=replace(terms.validity, rounds=None, points=None),
        stages=MappingProxyType(stages),
    )


def criterion_of(evaluation: Evaluation, name: str) -> Criterion | None:
    """The criterion of that name, judged if any of them is."""
    named = [c for c in evaluation.criteria if c.name == name]
    return next((c for c in named if c.verdict is not None), named[0] if named else None)


def reasons(evaluation: Evaluation) -> tuple[str, ...]:
    """What keeps a check from passing: conditions first, then criteria."""
    said = [f.message for f in evaluation.findings if f.severity in ("void", "no-pass")]
    said += [
        f"{c.key}: its limits leave no displayed value that passes ({c.decision_rule}; "
        f"expanded uncertainty {c.expanded_uncertainty:f} {c.unit})"
        for c in evaluation.criteria
        if c.verdict not in (None, "pass")
    ]
    if not said and evaluation.verdict is None:
        said = [f.message for f in evaluation.findings if f.code == "nothing-judged"]
    return tuple(dict.fromkeys(said))


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
