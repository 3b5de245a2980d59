"""What a plan for a product rests on: the balance's part, and what limits leave of it."""

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.flaws import Flaw, SenseError, refuse_if_any
from weighworthy_service.checks.kind import Kind
from weighworthy_service.checks.rehearsal import Loads
from weighworthy_service.checks.terms import StartWindow, Terms
from weighworthy_service.metrology.loss import slopes
from weighworthy_service.plans.asking import (
    LINEARITY,
    LOSS,
    LOSS_ERROR,
    POINT_ERROR,
    SPAN,
    SPAN_ERROR,
    ZERO_RETURN,
    loss_loads,
    refuse_unplannable,
)
from weighworthy_service.plans.product_limits import Cold, Limits, Part, loss_limit, slip_of
from weighworthy_service.plans.product_loads import ProductLoads, product_loads
from weighworthy_service.plans.rehearsed import rehearsed_at
from weighworthy_service.plans.result import Result, ResultUncertainty, result_uncertainty
from weighworthy_service.plans.tightest import (
    Honest,
    below_the_loss,
    tightest,
    weights_error,
)
from weighworthy_service.plans.words import exact
from weighworthy_service.plans.worst_case import Sample, worst_error


@dataclass(frozen=True, slots=True)
class ProductAsked:
    """What is asked: moistures and parts in %, masses in g, shares of one. None: not stated.

    The part of the balance is `share_of_room` of the distance from the typical moisture to the
    nearest limit, or `share` of `target`, the expanded uncertainty of a result.
    """

    circumstances: Circumstances
    terms: Terms
    typical: Result
    sample_mass: Decimal
    lower: Decimal | None
    upper: Decimal | None
    share_of_room: Fraction | None
    target: Decimal | None
    share: Fraction | None
    window: StartWindow
    honest: Honest
    profile_id: str
    revision: str
    title: str
    stated: frozenset[str]

    @property
    def sample(self) -> Sample:
        """The sample before and after."""
        start = Fraction(self.sample_mass)
        return Sample(start, start * self.typical.final_share(), self.typical.basis)

    @property
    def room(self) -> Fraction | None:
        """From the typical moisture to the nearest limit; None: no limit is stated."""
        typical = Fraction(self.typical.loss)
        sides = []
        if self.lower is not None:
            sides.append(typical - Fraction(self.lower))
        if self.upper is not None:
            sides.append(Fraction(self.upper) - typical)
        return min(sides, default=None)

    @property
    def allowed(self) -> Fraction:
        """What the balance may take, in % of moisture."""
        if self.share_of_room is not None:
            assert self.room is not None  # noqa: S101  `flaws` has asked for a limit
            return self.share_of_room * self.room
        assert self.share is not None  # noqa: S101  one of the two is stated
        assert self.target is not None  # noqa: S101
        return self.share * Fraction(self.target)

    def flaws(self) -> Iterator[Flaw]:
        """What lacks, or contradicts."""
        by_room, by_target = self.share_of_room is not None, self.target is not None
        if by_room == by_target:
            said = (
                "state how much the balance may take: share_of_room (of the distance from typical "
                "moisture to limit), or target_uncertainty with share; not both"
            )
            place = "share_of_room" if not by_room else "target_uncertainty"
            yield Flaw((place,), "contradiction" if by_room else "required", said)
        if self.share is not None and not by_target:
            said = "is a part of target_uncertainty, and none is stated"
            yield Flaw(("share",), "contradiction", said)
        if by_target and self.share is None:
            yield Flaw(("share",), "required", "which share of that uncertainty may it take?")
        if by_room and self.room is None:
            said = "state lower_limit or upper_limit of the product: a room needs a limit"
            yield Flaw(("upper_limit",), "required", said)
        if self.lower is not None and self.upper is not None and self.lower >= self.upper:
            yield Flaw(("lower_limit",), "contradiction", "must be below upper_limit")
        elif self.room is not None and self.room <= 0:
            said = "the typical moisture lies within the limits of the product, not on or beyond"
            yield Flaw(("typical",), "out-of-range", said)
        for name, value in (("share_of_room", self.share_of_room), ("share", self.share)):
            if value is not None and value > 1:
                yield Flaw((name,), "out-of-range", "a part is at most 100 % of the whole")
        for name, limit in (("lower_limit", self.lower), ("upper_limit", self.upper)):
            if self.typical.basis == "wet" and limit is not None and limit > 100:
                yield Flaw((name,), "out-of-range", "on wet basis a loss is at most 100 %")
        if self.typical.basis == "wet" and self.typical.loss >= 100:
            yield Flaw(("typical",), "out-of-range", "on wet basis a loss is below 100 %")
        capacity = self.circumstances.instrument.capacity
        if capacity is not None and self.sample_mass > capacity:
            yield Flaw(("sample_mass",), "out-of-range", "the sample is above the capacity")


@dataclass(frozen=True, slots=True)
class ProductFound:
    """`own`: U of a result from the balance's own scatter, in %; `room`: what is left for errors
    that checks let pass; `limits`: None where not even the tightest ones keep them within it.

    `like`: how much larger a change of zero, and of gain, shows in the simulated loss than in the
    result; `loss_limit`: None where nothing is left for one; `loss_most`: the largest limit of a
    loss of this size, beyond which a display that is stuck would pass.
    """

    loads: ProductLoads
    uncertainty: ResultUncertainty
    own: Fraction
    room: Fraction
    cold: Cold
    limits: Limits | None
    loss: Part
    like: tuple[Fraction, Fraction]
    loss_limit: Decimal | None
    loss_most: Decimal

    @property
    def loss_guarantees(self) -> bool:
        """Whether the simulated loss by itself keeps a change of zero or gain within the room."""
        limit = self.loss_limit
        return limit is not None and limit >= self.loss.tightest.within

    @property
    def loss_within(self) -> Decimal:
        """The limit of the simulated loss, in %."""
        limit = self.loss_limit
        if limit is None or not self.loss_guarantees:
            return self.loss.tightest.within
        return min(limit, self.loss_most)

    @property
    def loss_decides(self) -> bool:
        """Whether the limit of the simulated loss is as small as it is because of its own size."""
        return self.loss_guarantees and self.loss_within == self.loss_most != self.loss_limit


def find(asked: ProductAsked) -> ProductFound:
    """The plan in figures.

    Raises:
        SenseError: something lacks or contradicts, or the weights do not reach.
    """
    here = asked.circumstances
    refuse_unplannable(here)
    refuse_if_any(asked.flaws())
    sample = asked.sample
    loads = product_loads(
        here, (sample.start, sample.end), asked.typical.loss, sample.basis, asked.window
    )
    uncertainty = result_uncertainty(here.instrument, asked.typical, asked.terms.decision.coverage)
    own = Fraction(uncertainty.expanded(float(sample.start)))
    room = asked.allowed - own
    span = _part(asked, SPAN, (loads.span,), SPAN_ERROR)
    zero = _part(asked, SPAN, (loads.span,), ZERO_RETURN)
    points = _part(asked, LINEARITY, loads.points, POINT_ERROR)
    cold = Cold(span, zero, points, Fraction(here.nominal(loads.span)))
    multiple = cold.largest_multiple(sample, room) if room > 0 else None
    start, end = loads.loss.initial, loads.loss.staying
    of_loss = loss_loads(start, end, sample.basis, heating=asked.typical.heating)
    loss = _part(asked, LOSS, of_loss, LOSS_ERROR)
    like = _like(sample, (here.mass(start), here.mass(end)))
    return ProductFound(
        loads,
        uncertainty,
        own,
        room,
        cold,
        None if multiple is None else cold.limits(multiple, sample),
        loss,
        like,
        loss_limit(loss, like, room)[0] if room > 0 else None,
        _most(loss, attainable=multiple is not None),
    )


def _most(loss: Part, *, attainable: bool) -> Decimal:
    """The largest limit that this simulated loss can have, in %."""
    most = below_the_loss(loss.of)
    if not attainable:
        return most or loss.tightest.within
    if most is None or most < loss.tightest.within:
        said = (
            "the loss of these weights is no larger than the tightest honest limit of it, "
            f"{exact(loss.tightest.within, '%')}: showing no loss at all would pass"
        )
        raise SenseError([Flaw(("weights",), "not-possible", said)])
    return most


def _part(asked: ProductAsked, kind: Kind, loads: Loads, name: str) -> Part:
    """The criterion at the load that asks for most."""
    parts = []
    for of in rehearsed_at(("weights",), kind, asked.circumstances, loads, asked.terms):
        if of.name.name == name and (of.load or not of.name.has_load):
            found = tightest(of, asked.honest, weights_error(of, loads))
            if found is None:
                said = f"no tolerance of the {kind.slug} check rejects good balances so seldom"
                raise SenseError([Flaw(("false_rejection",), "not-possible", said)])
            parts.append(Part(of, found, slip_of(of)))
    most = max(parts, key=lambda part: part.tightest.within)
    return Part(most.of, most.tightest, max(part.slip for part in parts))


def _like(sample: Sample, masses: tuple[Decimal, Decimal]) -> tuple[Fraction, Fraction]:
    """A change of zero, and of gain, in the simulated loss over that in the result."""
    start, end = map(Fraction, masses)
    check = slopes(start, end, sample.basis).final
    result = slopes(sample.start, sample.end, sample.basis).final
    return check / result, (check * end) / (result * sample.end)


def smallest_allowed(asked: ProductAsked, found: ProductFound) -> Fraction | None:
    """The smallest part that the tightest limits keep, in %; None: they keep none."""
    smallest = found.cold.smallest(asked.sample)
    return None if smallest is None else smallest + found.own


def sample_needed(asked: ProductAsked, found: ProductFound) -> Fraction | None:
    """The smallest sample with which the tightest limits would keep the part, in g; None: none up
    to the capacity, or to a hundred times the sample where no capacity is stated.

    Both what limits leave open and the balance's own scatter count less in a larger sample, so
    halving finds it.
    """
    left = asked.typical.final_share()
    open_ = found.cold.left_open(found.cold.at(Fraction(1)))
    allowed = asked.allowed

    def keeps(start: Fraction) -> bool:
        own = Fraction(found.uncertainty.expanded(float(start)))
        sample = Sample(start, start * left, asked.typical.basis)
        try:
            return worst_error(sample, open_) + own <= allowed
        except ValueError:
            return False

    capacity = asked.circumstances.instrument.capacity
    high = 100 * asked.sample.start if capacity is None else Fraction(capacity)
    low = asked.sample.start
    if not keeps(high):
        return None
    for _ in range(40):
        middle = (low + high) / 2
        low, high = (low, middle) if keeps(middle) else (middle, high)
    return high
