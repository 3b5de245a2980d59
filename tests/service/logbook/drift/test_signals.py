"""Signals of a series: at which check, on the ground of which, and how long."""

import pytest

from weighworthy_service.logbook.drift.charts import baseline_of
from weighworthy_service.logbook.drift.run_rules import NELSON
from weighworthy_service.logbook.drift.signals import charted

# Sigma 0.886 mg about 1.5 mg.
SETTLED = [0.001, 0.002] * 6


@pytest.fixture
def chart(make):
    def build(values, rules=(1, 2)):
        points = make.points(values)
        baseline = baseline_of([p.value for p in points], 12)
        assert baseline is not None
        return charted(points, baseline, [NELSON[number] for number in rules])

    return build


def of(found, test):
    return [(s.entry, s.entries, s.lasts) for s in found.signals if s.test == test]


def test_a_settled_series_is_silent(chart) -> None:
    found = chart([*SETTLED, 0.001, 0.002, 0.002])
    assert found.signals == ()
    assert [t.test for t in found.tests] == ["rule-1", "rule-2", "moving-range", "ewma", "cusum"]


def test_a_knock_is_told_once_with_how_long_it_lasts(chart) -> None:
    found = chart([*SETTLED, 0.006, 0.006, 0.002])
    assert of(found, "rule-1") == [("s12", ("s12",), 2)]
    # From 2 to 6 mg and from 6 to 2: 4 > 3.267 mg.
    assert of(found, "moving-range") == [("s12", ("s11", "s12"), 1), ("s14", ("s13", "s14"), 1)]


def test_a_step_is_found_by_the_rule_of_nine(chart) -> None:
    found = chart([*SETTLED, *[0.0025] * 10])
    assert of(found, "rule-2") == [("s20", tuple(f"s{i}" for i in range(12, 21)), 2)]


def test_values_of_the_step_that_holds_the_centre_are_on_neither_side(chart) -> None:
    """The centre is 1.5 mg, the step 1 mg: 2 mg may be anything from 1.5 mg on."""
    assert of(chart([*SETTLED, *[0.002] * 20]), "rule-2") == []
    assert of(chart([*SETTLED, *[0.003] * 9]), "rule-2") != []


def test_rules_look_at_the_baseline_too(chart) -> None:
    unsettled = [0.0] * 3 + [0.0021 + 0.0001 * i for i in range(9)]
    # (2.1 + 2.2 + ... + 2.9)/12 = 1.875 mg, with nine in a row above it.
    assert of(chart(unsettled), "rule-2") == [("s11", tuple(f"s{i}" for i in range(3, 12)), 1)]


def test_sums_begin_after_the_baseline(chart) -> None:
    found = chart(SETTLED)
    assert (found.averages, found.sums) == (None, None)
    assert [t.test for t in found.tests] == ["rule-1", "rule-2", "moving-range"]
    # 2.7 mg is 1.354 σ above: 0.854 more each time, beyond 5 at the sixth. The average is
    # 1.354·(1 - 0.8^n), beyond 2.962·√(0.2/1.8) = 0.987 at the sixth too: 1.354·0.738 = 0.999.
    found = chart([*SETTLED, 0.001, *[0.0027] * 6])
    assert of(found, "cusum") == [("s18", ("s13", "s14", "s15", "s16", "s17", "s18"), 1)]
    assert found.averages is not None
    assert len(found.averages.values) == 7


def test_an_average_outside(chart) -> None:
    found = chart([*SETTLED, *[0.0027] * 7])
    assert of(found, "ewma") == [("s17", ("s17",), 2)]


def test_downwards(chart) -> None:
    found = chart([*SETTLED, *[0.0] * 5])
    # -1.693 σ: 1.193 more each time, beyond 5 at the fifth.
    assert of(found, "cusum") == [("s16", ("s12", "s13", "s14", "s15", "s16"), 1)]


def test_only_the_rules_that_were_chosen(chart) -> None:
    assert [t.test for t in chart(SETTLED, rules=(7,)).tests] == ["rule-7", "moving-range"]
    assert of(chart([*SETTLED, 0.002, 0.001, 0.0015], rules=(7,)), "rule-7") != []
    assert chart([*SETTLED, 0.006], rules=(7,)).signals[0].test != "rule-1"
