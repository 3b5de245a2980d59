"""The smallest sample at which the balance takes no more than its share of an uncertainty."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from math import inf, sqrt
from typing import Any, Final

from weighworthy_service.checks.answer import budget_row, number
from weighworthy_service.checks.flaws import Flaw, refuse_if_any
from weighworthy_service.metrology import minimum_mass
from weighworthy_service.metrology.instrument import Instrument
from weighworthy_service.metrology.rounding import rounded_up
from weighworthy_service.plans.asking import assumed_of, lacking
from weighworthy_service.plans.result import Result, ResultUncertainty, at_mass, result_uncertainty
from weighworthy_service.plans.words import (
    Assumed,
    amount,
    amount_up,
    display_step,
    exact,
    frame,
    plain,
    share,
)

DEFAULT_SHARE: Final = Fraction(1, 3)
DEFAULT_REQUIRED: Final = Decimal("0.10")
DEFAULT_FACTOR: Final = Decimal(1)
_CG_18_COVERAGE: Final = 2.0
# Digits of the mass to weigh at least, rounded up.
_TOLD: Final = 3


@dataclass(frozen=True, slots=True)
class SampleAsked:
    """What is asked. `target`: expanded uncertainty of a result in %, of which the balance may take
    `share`; `required` and `factor`: required accuracy of a weighing in % and safety factor;
    `slope_error`: not corrected, in %. None: not stated."""

    instrument: Instrument
    result: Result
    target: Decimal
    share: Fraction | None
    coverage: Decimal
    required: Decimal | None
    factor: Decimal | None
    slope_error: Decimal | None
    masses: Sequence[Decimal]
    stated: frozenset[str]


def sample_plan(asked: SampleAsked, version: str) -> dict[str, Any]:
    """The answer. Raises: SenseError, without repeatability, or with a loss that leaves nothing."""
    refuse_if_any([*lacking(asked.instrument), *_flaws(asked)])
    found = result_uncertainty(asked.instrument, asked.result, asked.coverage)
    of = asked.share or DEFAULT_SHARE
    allowed = float(of * Fraction(asked.target))
    smallest = found.smallest_mass(allowed)
    others = [_usp_41(asked.instrument), _cg_18(asked)]
    masses = [smallest, *(other["smallest_mass"] for other in others)]
    largest = None if None in masses else max(masses)
    return frame(
        "sample",
        version,
        _assumed(asked),
        loss=number(asked.result.loss),
        basis=asked.result.basis,
        heating=asked.result.heating,
        target_uncertainty=number(asked.target),
        share=number(of),
        allowed_uncertainty=number(allowed),
        smallest_sample=_by_result(asked, found, of, allowed),
        other_minima=others,
        largest_of_all=number(largest),
        weigh_at_least=None if largest is None else number(rounded_up(largest, _TOLD)),
        above_capacity=_is_above(largest, asked.instrument.capacity),
        at_masses=[_at(found, mass, asked.target) for mass in asked.masses],
        because=list(_overall(asked, smallest, others, largest)),
    )


def _flaws(asked: SampleAsked) -> Iterator[Flaw]:
    if asked.result.basis == "wet" and asked.result.loss >= 100:
        yield Flaw(("loss",), "out-of-range", "on wet basis a loss is below 100 %")
    if not 50 <= asked.coverage < 100:
        yield Flaw(("coverage",), "out-of-range", "at least 50 %, and below 100 %")
    if asked.share is not None and asked.share > 1:
        yield Flaw(("share",), "out-of-range", "a part is at most 100 % of the whole")


def _assumed(asked: SampleAsked) -> Iterator[Assumed]:
    yield from assumed_of(asked.instrument, hot=asked.result.heating)
    taken: Mapping[str, tuple[str, str]] = {
        "basis": ("wet", "a moisture is usually told as a share of the initial mass"),
        "heating": ("true", "a moisture result comes from a heated run"),
        "coverage": (f"{asked.coverage} %", "k = 2 at infinitely many degrees of freedom"),
        "share": (
            "1/3",
            "a part of a third makes the whole uncertainty larger by at most 5.4 %, √(1 + 1/9)",
        ),
        "required_accuracy": (
            f"{DEFAULT_REQUIRED} %",
            "what USP <41> asks of materials that must be accurately weighed (secondary text)",
        ),
        "safety_factor": ("1", "none is added to the smallest mass of cg-18 unless it is stated"),
        "slope_error": ("0 %", "errors of indication are taken as adjusted or corrected"),
    }
    for field, (value, because) in taken.items():
        if field not in asked.stated:
            yield Assumed(f"/{field}", value, because)


def _by_result(
    asked: SampleAsked, found: ResultUncertainty, of: Fraction, allowed: float
) -> dict[str, Any]:
    smallest = found.smallest_mass(allowed)
    told = rounded_up(smallest, _TOLD)
    rows = at_mass(found.rows, smallest)
    variance = sum(row.contribution**2 for row in rows)
    largest = max(rows, key=lambda row: row.contribution)
    below = smallest * 0.99
    return {
        "smallest_mass": number(smallest),
        "source": "law of propagation (JCGM 100:2008, 5.1.2) of L = 100(I0 - I1)/I0"
        if asked.result.basis == "wet"
        else "law of propagation (JCGM 100:2008, 5.1.2) of L = 100(I0 - I1)/I1",
        "uncertainty_times_mass": number(found.per_mass),
        "coverage_factor": number(found.coverage_factor),
        "degrees_of_freedom": None
        if found.degrees_of_freedom == inf
        else number(found.degrees_of_freedom),
        "expanded_uncertainty": number(found.expanded(smallest)),
        "whole_uncertainty_grows_by": number((sqrt(1 + float(of) ** 2) - 1) * 100),
        "budget": [
            {**budget_row(row), "share": number(row.contribution**2 / variance)} for row in rows
        ],
        "because": [
            (
                f"The balance may take {share(of)} of {exact(asked.target, '%')}: "
                f"U is at most {amount(allowed, '%')}."
            ),
            (
                f"At a loss of {exact(asked.result.loss, '%')} every sensitivity is a number over "
                "the "
                f"sample mass m, so that u = A/m with A = {plain(found.per_mass)} %·g, and U = "
                "kA/m "
                f"with k = {plain(found.coverage_factor)} falls as m grows."
            ),
            (
                f"So U is what is allowed at exactly m = kA/U = {amount(smallest, 'g', 6)}: at "
                f"{exact(told, 'g')} it is {amount(found.expanded(float(told)), '%')}, at "
                f"{amount(below, 'g', 6)} it would be {amount_up(found.expanded(below), '%')}."
            ),
            (
                f"The largest part is {largest.source}: "
                f"{amount(largest.contribution**2 / variance * 100, '%', 3)} of the variance."
            ),
        ],
    }


def _usp_41(instrument: Instrument) -> dict[str, Any]:
    s, d = instrument.repeatability, instrument.scale_interval
    assert s is not None  # noqa: S101  `lacking` has asked for it
    floor = minimum_mass.usp_41_floor(d)
    mass = minimum_mass.usp_41(s, d)
    which = (
        f"0.41 d = {exact(floor, 'g')} counts, as s = {exact(s, 'g')} is below it"
        if s < floor
        else f"s = {exact(s, 'g')} counts, which is not below 0.41 d = {exact(floor, 'g')}"
    )
    few = instrument.repeatability_observations
    notes = [f"{which}; m = 2·{exact(max(s, floor), 'g')} / 0.10 % = {exact(mass, 'g')}."]
    least = minimum_mass.USP_41_OBSERVATIONS
    if few is not None and few < least:
        notes.append(f"The chapter asks for at least {least} weighings; s rests on {few}.")
    notes.append("It is about one net weighing, not about a moisture.")
    return {
        "name": "usp-41",
        "title": "Smallest net weight of USP <41>",
        "source": "USP <41> Balances, repeatability: 2·s/m <= 0.10 % (secondary text)",
        "smallest_mass": number(mass),
        "because": notes,
    }


def _cg_18(asked: SampleAsked) -> dict[str, Any]:
    instrument = asked.instrument
    required = asked.required or DEFAULT_REQUIRED
    factor = asked.factor or DEFAULT_FACTOR
    error = float(asked.slope_error or 0) / 100
    step = float(instrument.scale_interval) / sqrt(12)
    constant = minimum_mass.root_of_squares([step, step, float(instrument.repeatability or 0)])
    parts = []
    if (tried := instrument.eccentricity) is not None:
        parts.append(float(tried.difference) / (2 * float(tried.load) * sqrt(3)))
    relative = minimum_mass.root_of_squares(parts)
    wanted = float(Fraction(required) / 100 / Fraction(factor))
    mass = minimum_mass.cg_18(constant, relative, wanted, factor=_CG_18_COVERAGE, error=error)
    straight = None
    if instrument.capacity is not None:
        straight = minimum_mass.cg_18_linear(
            constant,
            relative,
            wanted,
            float(instrument.capacity),
            factor=_CG_18_COVERAGE,
            error=error,
        )
    counted = "eccentricity" if parts else "nothing"
    because = [
        (
            f"U(m)/m is at most {exact(required, '%')}/{plain(factor)}; U(m) = 2·√(α² + β²m²), "
            "with "
            f"α = √(d²/12 + d²/12 + s²) = {amount(constant, 'g')} and β = {plain(relative)} from "
            f"{counted} (temperature, drift of the adjustment and buoyancy are not among what is "
            "stated, so not in it)."
        ),
    ]
    if mass is None:
        because.append(
            "The parts that grow with the mass take all of it: no mass is enough for that accuracy."
        )
    else:
        because.append(
            f"m = kα/√((Req/SF - |a1|)² - k²β²) = {amount(mass, 'g')} exactly; with U(m) as a "
            f"straight line to the capacity, as Appendix G has it, "
            + ("no capacity is stated." if straight is None else f"{amount(straight, 'g')}.")
        )
    because.append("It is about one net weighing in use, not about a moisture.")
    return {
        "name": "euramet-cg-18",
        "title": "Minimum weight of EURAMET cg-18",
        "source": "EURAMET Calibration Guide No. 18, v4.0, Appendix G (from memory)",
        "smallest_mass": number(mass),
        "smallest_mass_linear": number(straight),
        "required_accuracy": number(required),
        "safety_factor": number(factor),
        "because": because,
    }


def _overall(
    asked: SampleAsked, smallest: float, others: Sequence[Mapping[str, Any]], largest: float | None
) -> Iterator[str]:
    if largest is None:
        yield "No sample mass keeps every one of these minima."
    elif largest == smallest:
        yield "The moisture result decides: the other minima are smaller."
    else:
        name = next(one["title"] for one in others if one["smallest_mass"] == largest)
        yield (
            f"{name} is the largest: the moisture result alone would need "
            f"{amount_up(smallest, 'g', _TOLD)}. Which of them binds is for local rules to say."
        )
    capacity = asked.instrument.capacity
    if capacity is not None and _is_above(largest, capacity):
        yield f"That is above the capacity of {exact(capacity, 'g')}: this balance cannot do it."
    if (step := display_step(asked.instrument)) is not None:
        yield f"{step} That is in none of these figures, which are of results from masses."
    if asked.result.heating:
        yield (
            "What heat does to the balance beyond what is stated of its hot zero is in none of "
            "these figures, nor is what drying, sampling and the heater bring."
        )


def _is_above(mass: float | None, capacity: Decimal | None) -> bool:
    return mass is not None and capacity is not None and mass > capacity


def _at(found: ResultUncertainty, mass: Decimal, target: Decimal) -> dict[str, Any]:
    expanded = found.expanded(float(mass))
    return {
        "sample_mass": number(mass),
        "expanded_uncertainty": number(expanded),
        "share": number(expanded / float(target)),
    }
