"""Rows that make one check together: never judged from a part of them, and no row is lost.

The tables are written out here, with runs of three points; what must come of them is told beside.
"""

import io
from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any
from unittest.mock import patch

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from weighworthy_service.profiles.source import Source
from weighworthy_service.tables import gather, together
from weighworthy_service.tables.asked import Asked, Faulty, Item
from weighworthy_service.tables.cells import SkippedRow
from weighworthy_service.tables.gather import items_of
from weighworthy_service.tables.mapping_reading import read_mapping
from weighworthy_service.tables.plan import plan_of
from weighworthy_service.tables.reading import open_csv

HEADER = "Run,Point,When,Operator,Load [g],Shown [g]"
COLUMNS = {
    "points.indication": "Shown [g]",
    "points.load": {"column": "Load [g]", "values": {"0": ["W0"], "5": ["W5"], "9": ["W9"]}},
    "performed_at": "When",
    "performed_by": "Operator",
}
CONSTANTS = {
    "instrument": {"scale_interval": "1 mg"},
    "weights": {name: {"nominal": "5 g", "weight_class": "OIML F1"} for name in ("W0", "W5", "W9")},
    "labels": {"batch": "7"},
}


def items(
    rows: list[str], gather: dict[str, Any], *, columns: dict[str, Any] | None = None
) -> list[Item]:
    mapping = read_mapping(
        Source(
            {
                "check": "linearity",
                "time_zone": "Europe/Berlin",
                "columns": COLUMNS | (columns or {}),
                "constants": CONSTANTS,
                "gather": gather,
            }
        )
    )
    text = "\r\n".join([HEADER, *rows]) + "\r\n"
    table = open_csv(io.BytesIO(text.encode()), mapping.table, mapping.wanted)
    return list(items_of(table, plan_of(mapping, table)))


def numbers(item: Item) -> list[int]:
    if isinstance(item, SkippedRow):
        return [item.number]
    return [row[1] if isinstance(row, tuple) else row.number for row in item.rows]


def shown(found: list[Item]) -> list[Any]:
    """Each item as its rows and what became of them."""
    return [
        (numbers(item), item.slug if isinstance(item, Faulty) else type(item).__name__)
        for item in found
    ]


def outcome_of(found: list[Item]) -> dict[int, Any]:
    return {number: slug for rows, slug in shown(found) for number in rows}


def run(name: str, day: str, *, hour: int = 8, points: int = 3) -> list[str]:
    loads = ("0", "5", "9")
    return [
        f"{name},{at + 1},2026-03-{day} {hour:02}:0{at},K. Miller,{loads[at % 3]},{loads[at % 3]}.0"
        for at in range(points)
    ]


def test_two_runs_interleaved_are_two_checks_each_with_its_points_in_order() -> None:
    a, b = run("A", "02"), run("B", "02", hour=9)
    rows = [a[0], b[0], a[1], b[1], b[2], a[2]]
    first, second = items(rows, {"by": ["Run"]})
    assert shown([first, second]) == [([2, 4, 7], "Asked"), ([3, 5, 6], "Asked")]
    assert isinstance(first, Asked)
    assert first.group == "A"
    assert first.document["points"] == [
        {"load": ["W0"], "indication": "0.0 g"},
        {"load": ["W5"], "indication": "5.0 g"},
        {"load": ["W9"], "indication": "9.0 g"},
    ]
    assert first.document["performed_at"] == "2026-03-02T08:00:00+01:00"
    assert first.document["performed_by"] == "K. Miller"
    assert first.document["weights"] is not None


@pytest.mark.parametrize("complete", [3, None])
def test_a_run_that_the_window_cuts_is_no_short_run_but_faulty(complete: int | None) -> None:
    # A's third point lies four rows behind its first, and only three are allowed.
    a, b, c = run("A", "02"), run("B", "02"), run("C", "02")
    rows = [a[0], a[1], *b, a[2], *c]
    gather = {"by": ["Run"], "within": 3} | ({"complete": complete} if complete else {})
    found = items(rows, gather)
    assert shown(found) == [
        ([2, 3], "group-incomplete"),
        ([4, 5, 6], "Asked"),
        ([7], "group-incomplete"),
        ([8, 9, 10], "Asked"),
    ]
    assert isinstance(found[0], Faulty)
    assert "'A'" in found[0].detail
    assert found[0].errors[0].where.row == 2
    assert found[0].labels == {"batch": "7"}


@pytest.mark.parametrize("complete", [3, None])
def test_a_key_that_comes_again_the_next_day_is_a_check_of_its_own(complete: int | None) -> None:
    rows = [*run("1", "02"), *run("1", "03")]
    gather = {"by": ["Run"]} | ({"complete": complete} if complete else {})
    assert shown(items(rows, gather)) == [([2, 3, 4], "Asked"), ([5, 6, 7], "Asked")]


def test_a_key_that_comes_again_far_below_the_next_day_is_a_check_of_its_own() -> None:
    rows = [*run("1", "02"), *run("2", "02"), *run("3", "02"), *run("1", "03")]
    assert shown(items(rows, {"by": ["Run"], "within": 4})) == [
        ([2, 3, 4], "Asked"),
        ([5, 6, 7], "Asked"),
        ([8, 9, 10], "Asked"),
        ([11, 12, 13], "Asked"),
    ]


def test_without_times_a_key_that_comes_again_far_below_is_not_judged() -> None:
    # One check torn apart, or two: nothing in the table tells.
    columns = {"performed_at": None}
    rows = [*run("1", "02"), *run("2", "02"), *run("3", "02"), *run("1", "03")]
    assert shown(items(rows, {"by": ["Run"], "within": 4}, columns=columns)) == [
        ([2, 3, 4], "group-incomplete"),
        ([5, 6, 7], "Asked"),
        ([8, 9, 10], "Asked"),
        ([11, 12, 13], "group-incomplete"),
    ]


def test_rows_without_a_time_between_two_days_belong_to_nobody() -> None:
    # The third row may be the last of the first day or the first of the next.
    first, second = run("1", "02"), run("1", "03")
    rows = [first[0], first[1], first[2].replace("2026-03-02 08:02", ""), *second]
    found = items(rows, {"by": ["Run"]})
    assert shown(found) == [([2, 3, 4], "group-incomplete"), ([5, 6, 7], "group-incomplete")]
    # Where the number of rows is known, it tells.
    found = items(rows, {"by": ["Run"], "complete": 3})
    assert shown(found) == [([2, 3, 4], "Asked"), ([5, 6, 7], "Asked")]


def test_the_first_time_that_a_row_states_is_that_of_the_check() -> None:
    first, second = run("1", "02"), run("1", "03")
    first[0] = first[0].replace("2026-03-02 08:00", "")
    found = items([*first, *second], {"by": ["Run"]})
    # Without the time of the second row, all six would be one check.
    assert not [item for item in found if isinstance(item, Asked)]


def test_a_run_through_midnight_is_one_check() -> None:
    rows = [
        "A,1,2026-03-02 23:58,K. Miller,0,0.0",
        "A,2,2026-03-02 23:59,K. Miller,5,5.0",
        "A,3,2026-03-03 00:01,K. Miller,9,9.0",
    ]
    assert shown(items(rows, {"by": ["Run"]})) == [([2, 3, 4], "Asked")]


def test_a_bad_row_names_its_cell_and_its_fellows_name_the_row() -> None:
    a = run("A", "02")
    a[1] = a[1].replace("5.0", "OVERLOAD")
    fellows, bad, other = items([*a, *run("B", "02")], {"by": ["Run"]})
    assert shown([fellows, bad, other]) == [
        ([2, 4], "group-incomplete"),
        ([3], "invalid"),
        ([5, 6, 7], "Asked"),
    ]
    assert isinstance(bad, Faulty)
    (error,) = bad.errors
    assert error.pointer == "/points/1/indication"
    assert (error.where.row, error.where.column, error.where.cell) == (3, "Shown [g]", "OVERLOAD")
    assert isinstance(fellows, Faulty)
    assert "row 3" in fellows.detail


@pytest.mark.parametrize("missing", [0, 1, 2])
def test_a_row_that_cannot_be_placed_spoils_the_runs_that_it_may_belong_to(missing: int) -> None:
    # The name of the run is lost in one row of A; Y and Z stand apart from it.
    a = run("A", "02")
    a[missing] = a[missing].replace("A,", ",", 1)
    rows = [*run("Y", "02"), *run("X", "02"), *a, *run("B", "02"), *run("Z", "02")]
    became = outcome_of(items(rows, {"by": ["Run"]}))
    assert became[8 + missing] == "invalid"
    assert {became[8 + at] for at in range(3) if at != missing} == {"group-incomplete"}
    assert {became[number] for number in (2, 3, 4, 14, 15, 16)} == {"Asked"}
    # Only its neighbours are in doubt: the row before it, or the one behind it.
    assert became[5] == ("group-incomplete" if missing == 0 else "Asked")
    assert became[11] == ("group-incomplete" if missing == 2 else "Asked")


def test_checks_that_have_all_their_rows_do_not_mind_a_row_that_cannot_be_placed() -> None:
    lost = ",9,2026-03-02 08:00,K. Miller,0,0.0"
    rows = [*run("A", "02"), lost, *run("B", "02")]
    assert shown(items(rows, {"by": ["Run"], "complete": 3})) == [
        ([2, 3, 4], "Asked"),
        ([5], "invalid"),
        ([6, 7, 8], "Asked"),
    ]


def test_a_row_with_a_broken_quote_spoils_the_run_around_it() -> None:
    a = run("A", "02", points=3)
    rows = [a[0], a[1].replace("K. Miller", '"K. Miller'), a[2]]
    became = {
        number: slug
        for numbers_, slug in shown(items(rows, {"by": ["Run"]}))
        for number in numbers_
    }
    assert became == {2: "group-incomplete", 3: "invalid", 4: "group-incomplete"}


def test_a_row_missing_in_one_run_does_not_shift_the_runs_after_it() -> None:
    # With three rows a check, run 1 of the second must not be completed by the third's first row.
    rows = [*run("1", "02", points=2), *run("1", "03"), *run("1", "04")]
    assert shown(items(rows, {"by": ["Run"], "complete": 3})) == [
        ([2, 3], "group-incomplete"),
        ([4, 5, 6], "Asked"),
        ([7, 8, 9], "Asked"),
    ]


def test_a_column_of_numbers_orders_the_points() -> None:
    a = run("A", "02")
    (only,) = items([a[2], a[0], a[1]], {"by": ["Run"], "order": "Point"})
    assert isinstance(only, Asked)
    assert numbers(only) == [3, 4, 2]
    assert [point["load"] for point in only.document["points"]] == [["W0"], ["W5"], ["W9"]]
    assert only.where("/points/2/indication").row == 2
    assert only.where("/points/0").row == 3


def test_the_same_point_twice_is_no_longer_run() -> None:
    # Without times run 1 of the next day would make one run of six points.
    rows = [*run("1", "02"), *run("1", "02")]
    found = items(rows, {"by": ["Run"], "order": "Point"}, columns={"performed_at": None})
    codes = [error.code for item in found if isinstance(item, Faulty) for error in item.errors]
    assert codes.count("number-twice") == 3
    assert not [item for item in found if isinstance(item, Asked)]


def test_rows_of_a_check_must_agree_on_what_is_said_of_it_as_a_whole() -> None:
    a = run("A", "02")
    a[2] = a[2].replace("K. Miller", "R. Baker")
    found = items(a, {"by": ["Run"]})
    assert shown(found) == [([2, 3], "group-incomplete"), ([4], "invalid")]
    assert isinstance(found[1], Faulty)
    (error,) = found[1].errors
    assert (error.pointer, error.code) == ("/performed_by", "rows-differ")
    assert "'R. Baker' in row 4" in error.detail
    assert "'K. Miller' in row 2" in error.detail


def test_what_only_one_row_says_of_the_check_holds_for_all() -> None:
    a = run("A", "02")
    a[0], a[2] = (row.replace("K. Miller", "") for row in (a[0], a[2]))
    (only,) = items(a, {"by": ["Run"]})
    assert isinstance(only, Asked)
    assert only.document["performed_by"] == "K. Miller"
    assert only.where("/performed_by").row == 3


def test_kinds_by_column_only_gather_what_has_a_list_to_gather_into() -> None:
    header = "Test,Run,Load [g],Shown [g],Zero [g]"
    rows = ["lin,A,0,0.0,0", "span,-,5,5.0,0", "blank,,,,", "lin,A,5,5.0,0", "odd,A,5,5.0,0"]
    mapping = read_mapping(
        Source(
            {
                "check": {
                    "column": "Test",
                    "values": {"lin": "linearity", "span": "span"},
                    "skip": ["blank"],
                },
                "columns": {
                    "points.indication": "Shown [g]",
                    "points.load": COLUMNS["points.load"],
                    "rounds.0.indication": "Shown [g]",
                    "rounds.0.zero": "Zero [g]",
                    "rounds.0.load": COLUMNS["points.load"],
                },
                "constants": CONSTANTS,
                "gather": {"by": ["Run"], "complete": 2},
            }
        )
    )
    text = "\n".join([header, *rows])
    table = open_csv(io.BytesIO(text.encode()), mapping.table, mapping.wanted)
    found = list(items_of(table, plan_of(mapping, table)))
    assert shown(found) == [
        ([2, 5], "Asked"),
        ([3], "Asked"),
        ([4], "SkippedRow"),
        ([6], "invalid"),
    ]
    assert isinstance(found[1], Asked)
    assert found[1].document["rounds"] == [{"indication": "5.0 g", "zero": "0 g", "load": ["W5"]}]
    assert "rounds" not in found[0].document  # type: ignore[union-attr]


def test_more_rows_of_a_key_than_a_check_has_are_none_of_it() -> None:
    # Two rows of a run whose third was lost, and three hours later the run again: 2 + 3, but
    # nothing tells which three of the five belong together.
    rows = [*run("1", "02", points=2), *run("1", "02", hour=11)]
    (only,) = items(rows, {"by": ["Run"], "complete": 3})
    assert shown([only]) == [([2, 3, 4, 5, 6], "group-incomplete")]
    assert isinstance(only, Faulty)
    assert "2, 3, 4, 5, 6" in only.detail
    # The next day is another check.
    found = items([*rows, *run("1", "03")], {"by": ["Run"], "complete": 3})
    assert shown(found)[1:] == [([7, 8, 9], "Asked")]
    # Where no times are read, nothing tells it from the others.
    found = items(
        [*rows, *run("1", "03")], {"by": ["Run"], "complete": 3}, columns={"performed_at": None}
    )
    assert outcome_of(found) == dict.fromkeys(range(2, 10), "group-incomplete")


@pytest.mark.parametrize("complete", [3, None])
def test_days_that_are_mixed_in_the_table_are_told_apart_by_their_times(
    complete: int | None,
) -> None:
    # Sorted by point: the first points of three days, then the second ones, then the third.
    days = [run("1", day) for day in ("02", "03", "04")]
    rows = [row for point in zip(*days, strict=True) for row in point]
    gather = {"by": ["Run"]} | ({"complete": complete} if complete else {})
    assert shown(items(rows, gather)) == [
        ([2, 5, 8], "Asked"),
        ([3, 6, 9], "Asked"),
        ([4, 7, 10], "Asked"),
    ]


@pytest.mark.parametrize("complete", [3, None])
def test_mixed_days_that_the_window_cuts_are_not_judged(complete: int | None) -> None:
    days = [run("1", day) for day in ("02", "03", "04")]
    rows = [row for point in zip(*days, strict=True) for row in point]
    gather = {"by": ["Run"], "within": 5} | ({"complete": complete} if complete else {})
    assert set(outcome_of(items(rows, gather)).values()) == {"group-incomplete"}


def test_a_day_whose_rows_are_done_leaves_those_of_the_next_alone() -> None:
    # The window of the first day ends between the second and the third row of the next.
    first, second = run("1", "02"), run("1", "03")
    rows = [first[0], second[0], first[1], second[1], second[2]]
    assert shown(items(rows, {"by": ["Run"], "within": 3})) == [
        ([2, 4], "Asked"),
        ([3, 5, 6], "Asked"),
    ]
    # Here the last row before it ends is one of the first day.
    rows = [first[0], second[0], second[1], first[1], second[2]]
    assert shown(items(rows, {"by": ["Run"], "within": 3})) == [
        ([2, 5], "Asked"),
        ([3, 4, 6], "Asked"),
    ]


def test_a_row_near_two_checks_that_lie_apart_spoils_both() -> None:
    # 15 hours lie between the first and the second; the third row lies 7.5 from either.
    rows = [
        "A,1,2026-03-02 06:00,K. Miller,0,0.0",
        "A,1,2026-03-02 21:00,K. Miller,0,0.0",
        "A,2,2026-03-02 13:30,K. Miller,5,5.0",
        *run("B", "02"),
    ]
    became = outcome_of(items(rows, {"by": ["Run"]}))
    assert became == dict.fromkeys((2, 3, 4), "group-incomplete") | dict.fromkeys(
        (5, 6, 7), "Asked"
    )


def test_rows_in_a_chain_of_more_than_twelve_hours_are_not_judged() -> None:
    rows = [f"A,1,2026-03-02 {hour}:00,K. Miller,0,0.0" for hour in ("05", "13", "21")]
    assert set(outcome_of(items(rows, {"by": ["Run"]})).values()) == {"group-incomplete"}


def test_a_row_without_a_time_among_mixed_days_belongs_to_nobody() -> None:
    first, second = run("1", "02"), run("1", "03")
    lost = first[2].replace("2026-03-02 08:02", "")
    rows = [first[0], second[0], first[1], second[1], lost, second[2]]
    assert set(outcome_of(items(rows, {"by": ["Run"], "complete": 3})).values()) == {
        "group-incomplete"
    }


def test_a_time_in_the_first_row_of_each_check_is_enough_where_their_number_is_known() -> None:
    days = [run("1", day) for day in ("02", "03", "04")]
    rows = [
        row if at == 0 else row.replace(f"2026-03-{day} 08:0{at}", "")
        for day, rows_ in zip(("02", "03", "04"), days, strict=True)
        for at, row in enumerate(rows_)
    ]
    assert shown(items(rows, {"by": ["Run"], "complete": 3})) == [
        ([2, 3, 4], "Asked"),
        ([5, 6, 7], "Asked"),
        ([8, 9, 10], "Asked"),
    ]


@pytest.mark.parametrize("complete", [3, None])
def test_checks_are_given_up_where_their_rows_hold_too_much(
    complete: int | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(gather, "MOST_HELD", 1000)
    long = [row.replace("K. Miller", "K" * 300) for row in run("X", "02", points=4)]
    a = run("A", "02")
    rows = [a[0], a[1], *long, a[2], *run("B", "02")]
    asked = {"by": ["Run"]} | ({"complete": complete} if complete else {})
    became = outcome_of(items(rows, asked))
    assert {became[number] for number in (2, 3, 8)} == {"group-incomplete"}
    assert {became[number] for number in (9, 10, 11)} == {"Asked"}


def tables() -> Iterator[st.SearchStrategy[str]]:
    names = st.sampled_from(["A", "B", "C", "D", ""])
    days = st.sampled_from(["02", "03", "04", "40"])
    shown_ = st.sampled_from(["5.0", "x", ""])
    yield st.builds(lambda n, d, s: f"{n},1,2026-03-{d} 08:00,K. Miller,5,{s}", names, days, shown_)
    yield st.sampled_from([",,,,,", HEADER, "A,1", 'A,1,"x', "A,1,2,3,4,5,6,7"])


@settings(deadline=None, derandomize=True)
@given(
    rows=st.lists(st.one_of(*tables()), max_size=25),
    within=st.integers(1, 6),
    complete=st.none() | st.integers(1, 4),
    by=st.sampled_from([["Run"], ["Run", "When"]]),
)
def test_every_row_is_in_one_item_and_items_come_in_the_order_of_their_first_rows(
    rows: list[str], within: int, complete: int | None, by: list[str]
) -> None:
    gather: dict[str, Any] = {"by": by, "within": within}
    found = items(rows, gather | ({"complete": complete} if complete else {}))
    firsts = [min(numbers(item)) for item in found]
    assert firsts == sorted(firsts)
    assert sorted(number for item in found for number in numbers(item)) == [
        number + 2 for number in range(len(rows))
    ]
    for item in found:
        if isinstance(item, Asked):
            assert len(item.rows) == len(item.document["points"])
            assert complete in (None, len(item.rows))
            assert max(numbers(item)) - min(numbers(item)) <= within


@settings(deadline=None, derandomize=True, max_examples=200)
@given(
    rows=st.lists(st.tuples(st.sampled_from("AB"), st.integers(0, 7)), min_size=1, max_size=10),
    within=st.integers(1, 12),
    complete=st.none() | st.integers(1, 4),
)
def test_what_is_judged_does_not_hang_on_the_order_of_the_table(
    rows: list[tuple[str, int]], within: int, complete: int | None
) -> None:
    """A judged check has all rows of its key that lie within 12 hours of any of its own."""
    times = [datetime.fromisoformat("2026-03-02") + timedelta(hours=5 * step) for _, step in rows]
    lines = [
        f"{name},1,{time},K. Miller,5,5.0" for (name, _), time in zip(rows, times, strict=True)
    ]
    gather: dict[str, Any] = {"by": ["Run"], "within": within}
    found = items(lines, gather | ({"complete": complete} if complete else {}))
    for item in found:
        if isinstance(item, Asked):
            own = {number - 2 for number in numbers(item)}
            name = rows[min(own)][0]
            window = range(len(rows)) if complete is None else range(min(own), min(own) + within)
            for at in set(window) - own:
                if at < len(rows) and rows[at][0] == name:
                    apart = min(abs(times[at] - times[mine]) for mine in own)
                    assert apart > timedelta(hours=12)


def agreeing() -> st.SearchStrategy[str]:
    """Rows of few checks, which mostly say the same, and sometimes nothing or another thing."""
    return st.builds(
        "{},1,2026-03-02 {},{},5,{}".format,
        st.sampled_from("AB"),
        st.sampled_from(["08:00", "08:00", "08:01"]),
        st.sampled_from(["K. Miller", "K. Miller", "k. miller", ""]),
        st.sampled_from(["5.0", "5.0", "5.00", "5.0", "x"]),
    )


@settings(deadline=None, derandomize=True, max_examples=50)
@given(
    rows=st.lists(agreeing(), min_size=1, max_size=6),
    at=st.sampled_from(["When", "Operator", "Point"]),
)
def test_rows_that_agree_at_a_glance_make_what_a_look_at_each_makes(
    rows: list[str], at: str
) -> None:
    columns = {"labels.more": at}
    found = items(rows, {"by": ["Run"]}, columns=columns)
    with patch.object(together, "_agree", lambda *_: False):
        slowly = items(rows, {"by": ["Run"]}, columns=columns)
    assert shown(found) == shown(slowly)
    assert [item[1:] for item in found] == [item[1:] for item in slowly]
