"""The reasoning of a plan for a product, line by line, and what its checks cannot see."""

from collections.abc import Iterator
from decimal import Decimal
from fractions import Fraction

from weighworthy_service.plans.product_found import ProductAsked, ProductFound
from weighworthy_service.plans.product_limits import Part
from weighworthy_service.plans.words import (
    amount,
    amount_up,
    display_step,
    exact,
    load,
    plain,
    share,
)
from weighworthy_service.plans.worst_case import worst_error


def reasons(asked: ProductAsked, found: ProductFound) -> Iterator[str]:
    """Each step, with its figures."""
    yield _part(asked)
    yield (
        f"Of that the balance's own scatter takes U = {amount(found.own, '%')} with a sample of "
        f"{exact(asked.sample_mass, 'g')} and k = {plain(found.uncertainty.coverage_factor)}: "
        f"{amount(max(found.room, Fraction(0)), '%')} is left for errors that checks let pass."
    )
    cold = found.cold
    yield (
        f"Weights: {load(found.loads.span)} for span; "
        f"{', '.join(load(point) for point in found.loads.points)} for linearity, around the "
        f"sample before and after ({amount(asked.sample.start, 'g')} and "
        f"{amount(asked.sample.end, 'g')}); {load(found.loads.loss.initial)} for the simulated "
        f"loss, of which {load(found.loads.loss.removed)} comes off."
    )
    smallest = cold.smallest(asked.sample)
    most = "as much as the sample" if smallest is None else f"at most {amount(smallest, '%')}"
    yield (
        "Tightest honest limits: "
        f"{exact(cold.span.tightest.within, 'g')} for span, "
        f"{exact(cold.zero.tightest.within, 'g')} for the zero return, "
        f"{exact(cold.points.tightest.within, 'g')} for linearity points. With them a balance that "
        f"just passes is off by {most}."
    )
    yield from _slips(asked, found)
    if found.limits is None:
        yield (
            "So the part cannot be kept with these weights, this sample and this balance, and "
            "there is no profile."
        )
        return
    yield from _kept(asked, found)
    yield from _loss(found)


def _part(asked: ProductAsked) -> str:
    if asked.share_of_room is not None:
        assert asked.room is not None  # noqa: S101  asked for before
        return (
            f"The room from the typical {exact(asked.typical.loss, '%')} to the nearest limit of "
            f"the product is {amount(asked.room, '%')}; the balance may take "
            f"{share(asked.share_of_room)} of it, {amount(asked.allowed, '%')}."
        )
    assert asked.share is not None  # noqa: S101
    assert asked.target is not None  # noqa: S101
    return (
        f"The balance may take {share(asked.share)} of the result's U = "
        f"{exact(asked.target, '%')}, that is {amount(asked.allowed, '%')}."
    )


def _slips(asked: ProductAsked, found: ProductFound) -> Iterator[str]:
    cold = found.cold
    slips = [cold.span.slip, cold.zero.slip, cold.points.slip]
    if any(slips):
        yield (
            "Beyond a limit a balance may be off by as much as this and still be used, U less the "
            "guard band that keeps it from use: "
            f"{amount(slips[0], 'g')} at the span load, {amount(slips[1], 'g')} of the zero, "
            f"{amount(slips[2], 'g')} at the points; this is counted."
        )
    else:
        beyond = (100 - Fraction(asked.terms.decision.coverage)) / 2
        yield (
            "The guard band is not below U: a balance beyond a limit passes with a chance of at "
            f"most {amount(beyond, '%', 2)}."
        )


def _kept(asked: ProductAsked, found: ProductFound) -> Iterator[str]:
    limits, sample = found.limits, asked.sample
    assert limits is not None  # noqa: S101  asked before
    open_ = limits.left_open
    yield (
        f"The room lets each of these be {plain(limits.multiple)} times as wide; rounded down to "
        f"two digits: span {exact(limits.span, 'g')}, zero return {exact(limits.zero, 'g')}, "
        f"linearity points {exact(limits.points, 'g')}."
    )
    yield (
        f"Worst case of a result: errors of {amount(open_.points, 'g')} at both masses, opposed, "
        f"make {amount(worst_error(sample, open_.alone('points')), '%')}; a change of zero of "
        f"{amount(open_.zero, 'g')} makes {amount(worst_error(sample, open_.alone('zero')), '%')}; "
        "a gain anywhere within the span tolerance at each reading makes "
        f"{amount(worst_error(sample, open_.alone('gain')), '%')}. All at once "
        f"{amount_up(limits.worst, '%')}, and with the own scatter "
        f"{amount_up(limits.worst + found.own, '%')} of the {amount(asked.allowed, '%')}."
    )


def _loss(found: ProductFound) -> Iterator[str]:
    zero, gain = found.like
    within = found.loss_within
    yield (
        f"In this simulated loss a change of zero shows {plain(zero)} times, one of gain "
        f"{plain(gain)} times as large as in a result."
    )
    if found.loss_guarantees:
        yield (
            f"With {exact(within, '%')} it keeps either within the room by itself, heat included "
            "where it is run hot."
        )
        if found.loss_decides:
            yield (
                f"The room would let it be {exact(found.loss_limit or within, '%')}, but the loss "
                "itself is no larger: showing no loss at all would pass."
            )
    else:
        yield (
            f"No honest limit of it would keep either within the room by itself: with its tightest "
            f"one, {exact(within, '%')}, it confirms the others between their turns, no more."
        )


def cannot_see(asked: ProductAsked, found: ProductFound) -> list[str]:
    """What none of the checks shows, so that nothing here guarantees it."""
    stated = asked.circumstances.instrument
    heat = (
        "Span, linearity and zero return are cold: what heat does to zero and gain is counted only "
        "as far as hot_zero_drift or hot_zero_correction state it"
    )
    none = stated.hot_zero_drift is None and stated.hot_zero_correction is None
    step = display_step(stated)
    return [
        f"{heat}, and neither is stated." if none else f"{heat}.",
        (
            "Between two loads of the linearity check the curve is taken to stay within their "
            "limit: "
            "a bump between them does not show."
        ),
        (
            "A balance that changes after the check, and a zero that drifts on for longer than the "
            "span check takes: how often to check is for schedules to say."
        ),
        (
            "The heater, the drying programme, sampling and the sample itself: a blank run, a "
            "heater "
            "check and a reference material see some of that."
        ),
        "A sample off the centre of the pan in one reading and not in the other.",
        *([] if step is None else [step]),
    ]


def sources(found: ProductFound) -> dict[str, str]:
    """Where each limit comes from, for the profile, by criterion."""
    limits = found.limits
    assert limits is not None  # noqa: S101  there is no profile without
    times = f"derived: {plain(limits.multiple)} times the tightest honest limit"

    def of(part: Part) -> str:
        return f"{times}, {exact(part.tightest.within, part.of.name.unit)}, rounded down"

    cold = found.cold
    loss = found.loss.tightest.within
    return {
        cold.span.of.name.name: of(cold.span),
        cold.zero.of.name.name: of(cold.zero),
        cold.points.of.name.name: of(cold.points),
        found.loss.of.name.name: (
            f"derived: the tightest honest limit, {exact(loss, '%')}"
            if not found.loss_guarantees
            else "derived: just below the loss itself, rounded down"
            if found.loss_decides
            else f"derived: keeps {_percent(found.room)} of a result, rounded down"
        ),
    }


def _percent(value: Fraction | Decimal) -> str:
    return amount(value, "%")
