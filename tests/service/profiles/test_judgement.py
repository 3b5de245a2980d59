"""What limits do on one balance: by hand, and against simulated balances that round."""

from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from math import sqrt
from typing import Any

import numpy as np
import pytest

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.registry import KINDS
from weighworthy_service.checks.rehearsal import LossLoads
from weighworthy_service.metrology.instrument import Instrument
from weighworthy_service.metrology.weights import ReferenceWeight
from weighworthy_service.profiles.judgement import Judgement, judge_limits
from weighworthy_service.profiles.reading import read_profile

BY_SLUG = {kind.slug: kind for kind in KINDS}
MG = Decimal("0.001")
LOSS = LossLoads(("A10", "A2"), ("A10",))


def classed(name: str, grams: int) -> ReferenceWeight:
    return ReferenceWeight(name, Decimal(grams), weight_class="OIML F1")


def certified(name: str, grams: int, expanded: str) -> ReferenceWeight:
    nominal = Decimal(grams)
    return ReferenceWeight(
        name,
        nominal,
        conventional_mass=nominal,
        expanded_uncertainty=Decimal(expanded) * MG,
        coverage_factor=Decimal(2),
    )


WEIGHTS = [classed("A2", 2), classed("A10", 10), classed("A20", 20), classed("A50", 50)]


@pytest.fixture
def judge(document) -> Callable[..., list[Judgement]]:
    """The rows for rules, on a balance with d = 1 mg and s in mg unless told otherwise."""

    def find(
        slug: str, loads: Any, *rules: dict[str, Any], s="0.6", weights=WEIGHTS, every=None, **more
    ) -> list[Judgement]:
        instrument = Instrument(
            more.pop("d", MG), repeatability=None if s is None else Decimal(s) * MG, **more
        )
        circumstances = Circumstances(instrument, {w.name: w for w in weights})
        profile = read_profile(document(*rules))
        rows, _ = judge_limits(
            profile, BY_SLUG[slug], circumstances, loads, every=every or {None: None}
        )
        return rows

    return find


def test_a_loss_by_hand(judge) -> None:
    """12 g to 10 g, in %/g: c0 = 100·10/12² = 6.9444, c1 = -8.3333, zero -1.3889.

    In 1e-3 %: two readings 0.288675·√(6.9444² + 8.3333²) = 3.13149, zero 0.40094, s = 0.6 mg:
    6.50868; weights (F1: 0.20 mg and 0.12 mg, over √3): 1.3889·0.11547 = 0.16037 for 10 g,
    6.9444·0.069282 = 0.48113 for 2 g. All: 7.25170. U = 2·7.2517 = 14.5034, up to 0.015 %.
    """
    (row,) = judge("simulated-loss", LOSS, {"limits": {"loss_error": {"within": "0.02 %"}}})
    assert row.expanded == Decimal("0.015")
    assert row.ratio == Fraction(20, 15)
    assert row.attainable
    assert row.rounding == Fraction(1, 120)  # 100·0.001/12
    # Hardly any steps are left of s = 30 mg, 0.325434 %: limit 0.7 %, 2.150973: 0.031480.
    (row,) = judge("simulated-loss", LOSS, {"limits": {"loss_error": {"within": "0.7 %"}}}, s="30")
    assert row.false_rejection.one_set == pytest.approx(0.031480, abs=2e-5)


@pytest.mark.parametrize(
    ("within", "attainable"),
    # 100·1 mg/12 g = 0.008333 %
    [("0.0083 %", False), ("0.0084 %", True)],
)
def test_rounding_alone_can_break_a_loss_limit(judge, within, attainable) -> None:
    (row,) = judge("simulated-loss", LOSS, {"limits": {"loss_error": {"within": within}}})
    assert row.attainable is attainable


def test_rounding_on_dry_basis(judge) -> None:
    """c0 = 100/10, c1 = -100·12/100, common their sum: (10 + 12 + 2)·1 mg/2 = 0.012 %."""
    loads = replace(LOSS, basis="dry")
    (row,) = judge("simulated-loss", loads, {"limits": {"loss_error": {"within": "0.0119 %"}}})
    assert row.rounding == Fraction("0.012")
    assert not row.attainable


def test_a_guard_band_wider_than_the_limit_is_not_attainable(judge) -> None:
    rule = {"limits": {"loss_error": {"within": "0.014 %"}}, "decision": {"rule": "guarded"}}
    (row,) = judge("simulated-loss", LOSS, rule)
    assert row.guard == Fraction("0.015")
    assert not row.attainable
    assert row.false_rejection.all_sets == 1


def test_a_year_of_the_schedule(judge) -> None:
    """52 checks with one set, each failing with p: 1 - (1 - p)^52."""
    rule = {"limits": {"loss_error": {"within": "0.02 %"}}}
    (row,) = judge("simulated-loss", LOSS, rule, every={None: "week"})
    assert row.yearly is not None
    assert row.yearly.checks == 52
    expected = 1 - (1 - row.false_rejection.one_set) ** 52
    assert row.yearly.chances.one_set == pytest.approx(expected, rel=1e-9)
    assert row.yearly.chances.all_sets > row.yearly.chances.one_set
    (row,) = judge("simulated-loss", LOSS, rule)
    assert row.yearly is None


def test_stages_are_told_apart_only_where_they_differ(judge) -> None:
    rule = {"checks": ["span"], "limits": {"span_error": {"within": "5 mg"}}}
    # Buoyancy of 50 g counts only before an adjustment: 50 g·0.1·1.2/8000 = 0.75 mg.
    rows = judge("span", [("A50",)], rule)
    assert [row.stage for row in rows] == ["as-found", "as-left"]
    assert rows[0].expanded > rows[1].expanded
    # The zero return has no weights.
    rows = judge("span", [("A50",)], {"limits": {"zero_return": {"within": "2 mg"}}})
    assert [(row.name.name, row.stage) for row in rows] == [("zero_return", None)]
    strict = {"stages": ["as-left"], "limits": {"zero_return": {"within": "1 mg"}}}
    loose = {"limits": {"zero_return": {"within": "2 mg"}}}
    rows = judge("span", [("A50",)], loose, strict)
    assert [(row.stage, row.half) for row in rows] == [
        ("as-found", Fraction(2, 1000)),
        ("as-left", Fraction(1, 1000)),
    ]


def test_schedules_by_stage(judge) -> None:
    rule = {"limits": {"zero_return": {"within": "2 mg"}}}
    every = {None: "week", "as-found": "day", "as-left": None}
    rows = judge("span", [("A50",)], rule, every=every)
    assert [(row.stage, row.yearly and row.yearly.checks) for row in rows] == [
        ("as-found", 365),
        ("as-left", None),
    ]


def test_each_point_and_the_whole_run(judge) -> None:
    limits = {
        "point_error": {"within": "0.10 % of load"},
        "terminal_nonlinearity": {"within": "4 mg"},
        "hysteresis": {"within": "4 mg"},
    }
    rows = judge("linearity", [("A20",), ("A2",), ("A50",)], {"limits": limits})
    told = [(row.name.name, row.criterion.load) for row in rows]
    assert told[:3] == [("point_error", 20), ("point_error", 2), ("point_error", 50)]
    assert [row.half for row in rows[:3]] == [Fraction(n, 1000) for n in (20, 2, 50)]
    assert {name for name, _ in told[3:]} == {"terminal_nonlinearity", "hysteresis"}


def test_limits_by_bands(judge) -> None:
    bands = [{"up_to": "20 g", "within": "2 mg"}, {"up_to": "60 g", "within": "5 mg"}]
    rule = {"checks": ["span"], "limits": {"span_error": {"bands": bands}}}
    rows = judge("span", [("A20",), ("A50",)], rule)
    halves = {(row.criterion.load, row.half) for row in rows}
    assert halves == {(20, Fraction(2, 1000)), (50, Fraction(5, 1000))}


@pytest.mark.parametrize(
    ("slug", "loads", "limits"),
    [
        ("span", [("A20",)], {"span_error": {"within": "2 mg"}}),
        ("span", [("A20",)], {"zero_return": {"within": "3 mg"}}),
        ("simulated-loss", LOSS, {"loss_error": {"within": "0.03 %"}}),
        (
            "linearity",
            [("A50",)],
            {"point_error": {"larger_of": [{"within": "0.01 % of load"}, {"within": "2 d"}]}},
        ),
    ],
)
def test_sensible_scale_interval_by_evaluating_with_it(judge, slug, loads, limits) -> None:
    """With the d found the ratio is 3 or more, with the next larger usual one it is not."""
    rule = {"limits": limits}
    for row in judge(slug, loads, rule, s="0.1"):
        step = row.sensible_scale_interval
        assert step is not None
        assert step.as_tuple().digits in {(1,), (2,), (5,)}
        larger = step * (Decimal("2.5") if step.as_tuple().digits == (2,) else 2)

        def ratio(d: Decimal, stage=row.criterion.stage) -> Fraction:
            rows = judge(slug, loads, rule, s="0.1", d=d)
            return next(r.ratio for r in rows if r.stage in (stage, None))

        assert ratio(step) >= 3
        assert ratio(larger) < 3


def test_no_scale_interval_helps(judge) -> None:
    """s alone makes U = 2·3 mg·√2, or the limit is itself counted in d."""
    rule = {"limits": {"zero_return": {"within": "5 mg"}}}
    (row,) = judge("span", [("A50",)], rule, s="3")
    assert row.sensible_scale_interval is None
    rule = {"limits": {"zero_return": {"within": "9 d"}}}
    (row,) = judge("span", [("A50",)], rule, s=None)
    assert row.ratio > 3
    assert row.sensible_scale_interval is None


def test_an_agreement_limited_above_only_is_judged_in_both_directions(judge) -> None:
    within, above = (
        judge("span", [("A50",)], {"limits": {"span_agreement": {side: "2 mg"}}})[0]
        for side in ("within", "upper")
    )
    assert above.false_rejection == within.false_rejection
    assert above.false_rejection.one_set > 0.001


# Simulated: what a laboratory would count. Balances without error, or off by 1.5 tolerances, whose
# readings are rounded to d. Tolerance: four standard deviations of a share, and for the model, in
# which one rounding of each reading is normal, a hundredth of the share.
N = 2_000_000


def expect_held(counted: Any, expected: float, model: float = 0.01) -> None:
    share = float(np.mean(counted))
    sampling = 4 * sqrt(expected * (1 - expected) / N)
    assert share == pytest.approx(expected, abs=sampling + model * expected)


def net(rng: np.random.Generator, mass: Any, s: float) -> Any:
    """Net readings in units of d, the zero standing anywhere between two steps."""
    offset = rng.uniform(-0.5, 0.5, N)
    return np.round(offset + mass + s * rng.standard_normal(N)) - np.round(offset)


@pytest.mark.parametrize(
    ("s", "within", "mass_off"),
    [("1.2", "3 mg", "0"), ("1.2", "2.5 mg", "0"), ("0.7", "1.9 mg", "0"), ("1", "3 mg", "0.4")],
)
def test_simulated_span_checks(judge, s, within, mass_off) -> None:
    """As left, so that the air has no part; the certificate's U is 1 mg (k = 2)."""
    weight = replace(certified("C", 50, "1"), conventional_mass=50 + Decimal(mass_off) * MG)
    rule = {"checks": ["span"], "limits": {"span_error": {"within": within}}}
    row = judge("span", [("C",)], rule, s=s, weights=[weight])[-1]
    assert row.stage == "as-left"
    rng = np.random.default_rng(2012)
    limit, certificate = float(within.split()[0]), 50_000 + float(mass_off)
    for off, chances, fails in (
        (0.0, row.false_rejection, True),
        (1.5 * limit, row.false_acceptance, False),
        (-1.5 * limit, row.false_acceptance, False),
    ):
        for weights, expected in (
            (0.0, chances.one_set),
            (0.5 * rng.standard_normal(N), chances.all_sets),
        ):
            error = net(rng, certificate + weights + off, float(s)) - certificate
            failed = np.abs(error) > limit + 1e-6
            share = failed if fails else ~failed
            if fails or mass_off == "0":
                expect_held(share, expected, 0.03)
            else:  # the row has the more likely of the two sides
                assert np.mean(share) <= expected * 1.03


def test_simulated_zero_returns_and_agreements(judge) -> None:
    limits = {"zero_return": {"within": "2 mg"}, "span_agreement": {"within": "3 mg"}}
    rows = judge("span", [("A50",)], {"limits": limits}, s="0.9")
    of = {row.name.name: row.false_rejection.all_sets for row in rows}
    rng = np.random.default_rng(1251)
    # s counts once in a zero return, and once in each round of an agreement.
    expect_held(np.abs(net(rng, 0, 0.9)) > 2.5, of["zero_return"], 0.03)
    apart = net(rng, 50_000, 0.9) - net(rng, 50_000, 0.9)
    expect_held(np.abs(apart) > 3.5, of["span_agreement"], 0.03)


def losses(rng: np.random.Generator, s: float, loads: LossLoads, off: tuple[Any, Any, Any]) -> Any:
    """Losses from 12 g to 10 g on one zero, in steps of 1 mg, less the expected one.

    `off`, in mg: of the weight that stays, of the one that is lifted off, of the final reading.
    """
    staying, removed, final = off
    offset = rng.uniform(-0.5, 0.5, N)
    zero = np.round(offset)
    first = np.round(offset + 12_000 + staying + removed + s * rng.standard_normal(N)) - zero
    then = np.round(offset + 10_000 + staying + final + s * rng.standard_normal(N)) - zero
    if loads.basis == "dry":
        return 100 * (first / then - 1) - 20
    return 100 * (1 - then / first) - 100 / 6


@pytest.mark.parametrize(
    ("s", "within", "basis"),
    [
        ("0.3", "0.01 %", "wet"),
        ("0.6", "0.02 %", "wet"),
        ("1", "0.025 %", "wet"),  # three steps, exactly on values that are displayed
        ("1", "0.03 %", "dry"),
        ("2.9", "0.06 %", "wet"),
        ("3.1", "0.06 %", "wet"),
    ],
)
def test_simulated_losses(judge, s, within, basis) -> None:
    loads = replace(LOSS, basis=basis)
    rule = {"limits": {"loss_error": {"within": within}}}
    (row,) = judge("simulated-loss", loads, rule, s=s)
    rng = np.random.default_rng(731)
    limit = float(within.split()[0]) + 1e-9
    alone = losses(rng, float(s), loads, (0, 0, 0))
    expect_held(np.abs(alone) > limit, row.false_rejection.one_set, 0.03)
    weights = rng.uniform(-0.2, 0.2, N), rng.uniform(-0.12, 0.12, N)
    expect_held(
        np.abs(losses(rng, float(s), loads, (*weights, 0))) > limit,
        row.false_rejection.all_sets,
        0.03,
    )
    # Off by 1.5 limits through a change of zero: -100/12 or -100·12/10² % a gram.
    zero = 1.5 * (limit - 1e-9) / (100 / 12_000 if basis == "wet" else 120 / 10_000)
    shares = [
        np.mean(np.abs(losses(rng, float(s), loads, (0, 0, sign * zero))) <= limit)
        for sign in (-1, 1)
    ]
    assert max(shares) == pytest.approx(row.false_acceptance.one_set, rel=0.03, abs=0.001)
