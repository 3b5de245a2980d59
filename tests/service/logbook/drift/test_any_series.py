"""Whatever a log says, the report has numbers in it, in order, and every signal its evidence."""

from math import isfinite

from hypothesis import given, settings
from hypothesis import strategies as st

from weighworthy_service.logbook.drift.report import report

VALUES = st.one_of(
    st.integers(-5, 5).map(lambda steps: steps / 1000),
    st.floats(-1e12, 1e12, allow_nan=False),
)
STEPS = st.one_of(st.sampled_from([0.0, 1 / 86_400, 1.0, 7.0]), st.floats(0, 3000))


@settings(max_examples=150, deadline=None)
@given(st.lists(st.tuples(VALUES, STEPS), min_size=1, max_size=40), st.booleans())
def test_any_series(make, checks, bounded) -> None:
    entries, day = [], 0.0
    for i, (value, step) in enumerate(checks):
        day += step
        limits = {} if bounded else {"upper_limit": None}
        said = make.said(criteria=(make.round(value, **limits),))
        entries.append(make.check(f"s{i}", day, said))
    (one,) = report(entries, rules=range(1, 9), baseline=12)
    ids = [point.entry for point in one.points]
    assert ids == [entry.id for entry in entries]
    for rate in (one.slope.least_squares, one.slope.pairs):
        if rate is not None:
            assert all(isfinite(number) for number in (rate.value, rate.low, rate.high))
            assert rate.low <= rate.value <= rate.high
    if one.outlook is not None:
        for reach in (one.outlook.upper, one.outlook.lower):
            told = reach and [reach.earliest, reach.estimate, reach.latest]
            known = [instant for instant in told or () if instant is not None]
            assert known == sorted(known)
            assert all(instant >= one.points[-1].at for instant in known)
            if reach and reach.estimate is not None:
                assert reach.earliest is not None
    if one.chart is not None:
        assert isfinite(one.chart.baseline.sigma)
        assert isfinite(one.chart.baseline.neither_side)
        for total in (*one.chart.sums.high, *one.chart.sums.low) if one.chart.sums else ():
            assert isfinite(total)
        for signal in one.chart.signals:
            assert signal.entries[-1] == signal.entry
            at = ids.index(signal.entry)
            assert list(signal.entries) == ids[at - len(signal.entries) + 1 : at + 1]
            assert 1 <= signal.lasts <= len(ids) - at
