"""What limits do on one balance, by hand; `test_simulated_chances` has balances that round."""

from dataclasses import replace
from decimal import Decimal
from fractions import Fraction

import pytest

from weighworthy_service.checks.simulated_loss.rehearsal import LossLoads

MG = Decimal("0.001")
LOSS = LossLoads(("A10", "A2"), ("A10",))


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
