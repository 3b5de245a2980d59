"""Where series begin and end, and what is in none."""

import time

import pytest

from weighworthy_service.logbook.drift.gathering import gather


def shape(gathered):
    """Of each series: what began it, its points, what ended it."""
    return [
        (
            one.began and (one.began.entry, one.began.why),
            [point.entry for point in one.points],
            one.ended and (one.ended.entry, one.ended.why),
        )
        for one in gathered.series
    ]


@pytest.mark.parametrize("kind", ["adjustment", "service", "move", "weights-replaced"])
def test_entries_that_cut(make, kind) -> None:
    entries = [make.span("a", 0, 0.001), make.event("x", kind, 1), make.span("b", 2, 0.0)]
    assert shape(gather(entries)) == [
        (None, ["a"], ("x", kind)),
        (("x", kind), ["b"], None),
    ]


@pytest.mark.parametrize(
    "kind", ["power-off", "cleaning", "out-of-service", "back-in-service", "assessment"]
)
def test_entries_that_do_not_cut(make, kind) -> None:
    entries = [make.span("a", 0, 0.001), make.event("x", kind, 1), make.span("b", 2, 0.0)]
    assert shape(gather(entries)) == [(None, ["a", "b"], None)]


def test_a_check_that_adjusted_is_the_last_point_of_what_it_ends(make) -> None:
    entries = [
        make.span("a", 0, 0.001),
        make.span("b", 1, 0.002, adjusted=True),
        make.span("c", 2, 0.0),
    ]
    cut = ("b", "adjusted-in-check")
    assert shape(gather(entries)) == [(None, ["a", "b"], cut), (cut, ["c"], None)]


def test_a_void_check_that_adjusted_cuts_and_gives_no_point(make) -> None:
    entries = [
        make.span("a", 0, 0.001),
        make.span("b", 1, 0.002, adjusted=True, verdict="void", usable=False),
        make.span("c", 2, 0.0),
    ]
    gathered = gather(entries)
    cut = ("b", "adjusted-in-check")
    assert shape(gathered) == [(None, ["a"], cut), (cut, ["c"], None)]
    assert gathered.void == ("b",)
    assert [series.void for series in gathered.series] == [("b",), ()]


def test_a_cut_ends_the_series_of_all_kinds_of_check(make) -> None:
    loss = {"name": "loss_error", "unit": "%", "load": 12.0, "value": 0.01}
    entries = [
        make.span("a", 0, 0.001),
        make.check("l", 0.5, make.said("simulated-loss", criteria=(loss,))),
        make.event("x", "adjustment", 1),
    ]
    assert [(s.key.check, s.ended.entry) for s in gather(entries).series] == [
        ("simulated-loss", "x"),
        ("span", "x"),
    ]


def test_each_load_is_a_series(make) -> None:
    both = make.said(criteria=(make.round(0.001), make.round(0.002, load=50.0)))
    entries = [make.check("a", 0, both), make.check("b", 1, both)]
    gathered = gather(entries)
    assert [s.key.load for s in gathered.series] == [20.0, 50.0]
    assert [[p.value for p in s.points] for s in gathered.series] == [[0.001] * 2, [0.002] * 2]


def test_a_way_up_is_not_compared_with_a_mean_of_up_and_down(make) -> None:
    def run(id_, days, *directions):
        stated = [{"load": 10.0, "error": 0.001, "direction": d} for d in directions]
        return make.check(id_, days, make.said("linearity", results={"points": stated}))

    entries = [run("a", 0, "up", "down"), run("b", 1, "up"), run("c", 2, "down", "up")]
    gathered = gather(entries)
    assert [(s.key.directions, [p.entry for p in s.points]) for s in gathered.series] == [
        ("up", ["b"]),
        ("up and down", ["a", "c"]),
    ]


def test_losses_that_differ_as_certificates_do_are_of_one_series(make) -> None:
    def loss(id_, days, expected):
        criterion = {"name": "loss_error", "unit": "%", "load": 12.0, "value": 0.01}
        results = {"expected_loss": expected}
        said = make.said("simulated-loss", criteria=(criterion,), results=results)
        return make.check(id_, days, said)

    entries = [loss("a", 0, 16.6665), loss("b", 1, 50.0), loss("c", 2, 16.6668)]
    assert [[p.entry for p in s.points] for s in gather(entries).series] == [["a", "c"], ["b"]]


@pytest.mark.parametrize(
    ("then", "same"),
    [
        ({"KM-20": "KM/2026/020; 20.00001 g"}, True),
        ({}, True),
        ({"KM-20": "KM/2026/020; 20.00001 g", "KM-2": "other"}, True),
        ({"KM-20": "KM/2027/020; 20.00003 g"}, False),
        ({"KM-21": "KM/2026/021; 19.99998 g"}, False),
    ],
)
def test_other_weights_cut_their_own_series(make, then, same) -> None:
    first = {"KM-20": "KM/2026/020; 20.00001 g"}
    entries = [
        make.span("a", 0, 0.001, weights=first),
        make.span("b", 1, 0.001, weights=then),
        make.span("c", 2, 0.001, weights=then),
    ]
    cut = ("b", "other-weights")
    expected = [(None, ["a", "b", "c"], None)]
    if not same:
        expected = [(None, ["a"], cut), (cut, ["b", "c"], None)]
    assert shape(gather(entries)) == expected


def test_left_out_checks_are_told_where_they_lie(make) -> None:
    without = make.said(criteria=(), adjusted=False)
    entries = [
        make.span("v0", 0, 0.009, verdict="void"),
        make.span("a", 1, 0.001),
        make.check("w", 2, without),
        make.event("x", "move", 3),
        make.span("v1", 4, 0.009, verdict="void"),
        make.span("b", 5, 0.001),
        make.check("l", 6, make.said("simulated-loss", verdict="void")),
    ]
    gathered = gather(entries)
    assert shape(gathered) == [(None, ["a"], ("x", "move")), (("x", "move"), ["b"], None)]
    assert [(s.void, s.without_value) for s in gathered.series] == [
        (("v0",), ("w",)),
        (("v1",), ()),
    ]
    assert gathered.void == ("v0", "v1", "l")
    assert gathered.without_value == ("w",)


def test_left_out_checks_count_once_when_weights_change(make) -> None:
    old, new = {"KM-20": "2026"}, {"KM-20": "2027"}
    entries = [
        make.span("v0", 0, 0.009, verdict="void"),
        make.span("a", 1, 0.001, weights=old),
        make.span("v1", 2, 0.009, verdict="void"),
        make.span("b", 3, 0.001, weights=new),
        make.span("v2", 4, 0.009, verdict="void"),
    ]
    assert [series.void for series in gather(entries).series] == [("v0", "v1"), ("v2",)]


def test_many_loads_take_their_time_only_once(make) -> None:
    """Each check another load and loss, and as many void ones: no pass over all series for each."""
    count = 20_000
    entries = []
    for i in range(count):
        criterion = {"name": "loss_error", "unit": "%", "load": float(i), "value": 0.01}
        said = make.said(
            "simulated-loss", criteria=(criterion,), results={"expected_loss": float(i)}
        )
        entries += [
            make.check(f"c{i}", i / 100, said),
            make.check(f"v{i}", i / 100, make.said("simulated-loss", verdict="void")),
        ]
    started = time.process_time()
    gathered = gather(entries)
    assert len(gathered.series) == count
    assert len(gathered.series[0].void) == count
    assert gathered.series[0].void is gathered.series[-1].void
    # A pass for each would be 400 million steps.
    assert time.process_time() - started < 5


def test_what_comes_after_the_instant_is_counted(make) -> None:
    gathered = gather(make.spans([0.001, 0.002, 0.003]), make.at(1))
    assert [p.entry for p in gathered.series[0].points] == ["s0", "s1"]
    assert gathered.later == 1
