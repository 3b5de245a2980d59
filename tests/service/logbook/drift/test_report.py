"""The whole report: what is told of a series, and what cannot be."""

import pytest

from weighworthy_service.logbook.drift.report import left_out, report
from weighworthy_service.logbook.drift.run_rules import WESTERN_ELECTRIC


def settled(count):
    """Between 1 and 2 mg, no two alike, without a trend: multiples of the golden section, mod 1."""
    return [0.001 + 0.001 * (0.618034 * i % 1) for i in range(count)]


def codes(one):
    return [finding.code for finding in one.findings]


def test_an_empty_log() -> None:
    assert report([]) == ()


def test_one_series_from_beginning_to_end(make) -> None:
    entries = make.spans(settled(24))
    (one,) = report(entries)
    assert one.key[:4] == ("span", "span_error", "g", 20.0)
    assert [p.entry for p in one.points] == [f"s{i}" for i in range(24)]
    assert one.slope.least_squares is not None
    assert not one.slope.least_squares.differs_from_zero
    assert one.chart is not None
    assert one.chart.baseline.points == 20
    assert one.chart.signals == ()
    assert one.outlook is not None
    assert one.outlook.overlaps is False
    assert codes(one) == ["limits-uncertain"]


def test_a_trend_is_not_drawn_across_an_adjustment(make) -> None:
    """A saw: up by 0.4 mg a day, set back after ten days. As a whole it has hardly a trend."""
    tooth = [0.0004 * i for i in range(10)]
    entries = [
        *make.spans(tooth),
        make.event("x", "adjustment", 9.5),
        *(make.span(f"t{i}", 10 + i, value) for i, value in enumerate(tooth)),
    ]
    before, after = report(entries)
    for one in (before, after):
        assert one.slope.least_squares.value == pytest.approx(0.0004)
    assert before.ended.entry == after.began.entry == "x"
    # What would have come was changed by the adjustment.
    assert before.outlook is None
    # 5 mg at 12.5 days after the first of them.
    assert after.outlook.upper.estimate == make.at(22.5)
    whole = report([entry for entry in entries if entry.kind == "check"])
    assert len(whole) == 1
    assert whole[0].slope.least_squares.value < 0.0002


def test_nothing_after_the_instant_counts(make) -> None:
    entries = make.spans(settled(24))
    assert report(entries, at=make.at(11)) == report(entries[:12])
    assert left_out(entries, at=make.at(11)).later == 12


def test_few_points_say_why_there_is_nothing(make) -> None:
    (one,) = report(make.spans([0.001, 0.002, 0.001]))
    assert (one.slope.least_squares, one.outlook, one.chart) == (None, None, None)
    assert codes(one) == ["too-few-points", "no-control-limits"]


def test_a_short_baseline_is_told(make) -> None:
    (one,) = report(make.spans(settled(16)))
    assert one.chart.baseline.points == 16
    assert codes(one) == ["baseline-short", "limits-uncertain"]
    (one,) = report(make.spans(settled(16)), baseline=12)
    assert one.chart.baseline.points == 12
    assert codes(one) == ["limits-uncertain"]
    (one,) = report(make.spans(settled(50)), baseline=50)
    assert codes(one) == []


def test_equal_values_tell_no_limits(make) -> None:
    (one,) = report(make.spans([0.001] * 24))
    assert one.chart is None
    assert codes(one) == ["all-equal", "no-control-limits"]


def test_without_a_limit_there_is_no_outlook(make) -> None:
    bare = (make.round(0.001, upper_limit=None, lower_limit=None),)
    last = make.check("z", 24, make.said(criteria=bare, verdict=None))
    (one,) = report([*make.spans(settled(24)), last])
    assert one.outlook is None
    assert codes(one) == ["no-limit", "limits-uncertain"]


@pytest.mark.parametrize(("pause", "told"), [(4, False), (4.5, True)])
def test_a_long_gap_is_told(make, pause, told) -> None:
    first = make.spans(settled(24))
    entries = [*first, make.span("z", 23 + pause, 0.001)]
    (one,) = report(entries)
    assert codes(one) == ["limits-uncertain", *(["gap"] if told else [])]
    if told:
        assert "4.5 days between s23 and z" in one.findings[-1].message


def test_checks_in_no_series_are_named(make) -> None:
    entries = [
        make.span("v", 0, 0.009, verdict="void"),
        make.check("w", 1, make.said()),
        make.span("a", 2, 0.001),
    ]
    out = left_out(entries)
    assert (out.void, out.without_value, out.later) == (("v",), ("w",), 0)
    (one,) = report(entries)
    assert (one.void, one.without_value) == (("v",), ("w",))


def test_rules_by_number_or_as_they_are(make) -> None:
    (one,) = report(make.spans(settled(24)), rules=WESTERN_ELECTRIC)
    assert [t.test for t in one.chart.tests[:4]] == ["rule-1", "rule-5", "rule-6", "rule-2-of-8"]
    (one,) = report(make.spans(settled(24)), rules=())
    assert [t.test for t in one.chart.tests] == ["moving-range", "ewma", "cusum"]


@pytest.mark.parametrize(
    ("asked", "named"),
    [
        ({"rules": (1, 9)}, "rules: 9"),
        ({"baseline": 11}, "baseline: 11"),
        ({"confidence": 1.0}, "confidence: 1.0"),
        ({"confidence": 0}, "confidence: 0"),
    ],
)
def test_what_cannot_be_asked(make, asked, named) -> None:
    with pytest.raises(ValueError, match=named):
        report(make.spans(settled(4)), **asked)


def test_extreme_values_give_numbers(make) -> None:
    """The largest errors that are taken, and times a second apart."""
    values = [1e12, -1e12, 1e-12, 0.0, 5e-324] * 6
    entries = make.spans(values, every=1 / 86_400)
    (one,) = report(entries, rules=range(1, 9))
    rate = one.slope.least_squares
    assert all(abs(number) < 1e30 for number in (rate.value, rate.low, rate.high))
    assert one.chart is not None
