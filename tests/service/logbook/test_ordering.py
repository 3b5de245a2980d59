import random
from datetime import datetime, timedelta

import pytest

from weighworthy_service.checks.flaws import SenseError
from weighworthy_service.logbook.entries import ENTRY_KINDS, Assessment, CheckSaid, Entry
from weighworthy_service.logbook.ordering import Sorted, in_order, until

EIGHT = datetime.fromisoformat("2026-03-16T08:00:00+01:00")
ONE_PASS = pytest.mark.parametrize("ordered", [in_order, lambda log: list(Sorted(log))])


def entry(id_, kind="cleaning", hours=0, **more):
    return Entry(id_, kind, EIGHT + timedelta(hours=hours), "MA-01", **more)


def check(id_, usable, verdict=None, *, as_found=None, would=None, kind="span", hours=0, **more):
    verdict = verdict or ("pass" if usable else "fail")
    said = CheckSaid(kind, verdict, usable, as_found, would, adjusted=False, trusted=True)
    return entry(id_, "check", hours, said=said, **more)


def refusals(ordered, log):
    with pytest.raises(SenseError) as refused:
        ordered(log)
    return refused.value.flaws


def test_instant_then_rank_then_id_whatever_the_order_of_arrival():
    log = [
        entry(f"{number}", kind, hours)
        for hours in (0, 1)
        for number in (1, 2)
        for kind in ENTRY_KINDS
        if kind not in {"back-in-service", "check"}
    ]
    log = [one._replace(id=f"{one.id}-{i}") for i, one in enumerate(log)]
    arrived = log.copy()
    random.Random(1).shuffle(arrived)  # noqa: S311  any order will do
    ordered = in_order(arrived)
    assert in_order(log) == ordered
    keys = [(one.at, ENTRY_KINDS.index(one.kind), one.id) for one in ordered]
    assert keys == sorted(keys)
    assert len(ordered) == len(log)


@ONE_PASS
def test_what_asks_for_a_check_comes_before_a_check_of_the_same_instant(ordered):
    log = [check("a", True), entry("z", "move")]
    assert [one.id for one in ordered(log)] == ["z", "a"]


@ONE_PASS
def test_an_instant_is_the_same_in_every_offset(ordered):
    first = entry("b", hours=-1)
    later = entry("a")._replace(at=datetime.fromisoformat("2026-03-16T07:00:00Z"))
    assert [one.id for one in ordered([first, later, entry("c")])] == ["b", "a", "c"]


@ONE_PASS
def test_equal_id_and_content_is_one_entry_wherever_it_stands(ordered):
    first, again = check("a", True, place="/entries/0"), check("a", True, place="/entries/1")
    assert ordered([first, again]) == [first]
    assert ordered([first, first]) == [first]


@ONE_PASS
def test_equal_id_and_other_content_is_refused_naming_both(ordered):
    (flaw,) = refusals(
        ordered,
        [check("a", True, place="/entries/0"), check("a", False, place="/entries/7")],
    )
    assert (flaw.path, flaw.code) == (("entries", 7, "id"), "repeated-id")
    assert "/entries/0" in flaw.detail


def test_one_id_at_two_instants_is_noticed_only_where_all_entries_are_held():
    log = [entry("a"), entry("b", hours=1), entry("a", hours=2)]
    assert refusals(in_order, log)[0].code == "repeated-id"
    assert len(list(Sorted(log))) == 3


@ONE_PASS
@pytest.mark.parametrize(
    "other",
    [
        check("b", False, place="/entries/1"),
        check("b", None, "void", would=False, place="/entries/1"),
        check("b", None, "void", as_found=False, place="/entries/1"),
        check("b", True, as_found=False, place="/entries/1"),
    ],
)
def test_two_checks_of_one_instant_that_do_not_say_the_same_are_refused(ordered, other):
    first = check("a", True, as_found=True, place="/entries/0")
    (flaw,) = refusals(ordered, [first, other])
    assert (flaw.path, flaw.code) == (("entries", 1, "at"), "contradictory")
    assert "a" in flaw.detail
    assert "/entries/0" in flaw.detail


@ONE_PASS
@pytest.mark.parametrize(
    "other",
    [
        check("b", True),
        check("b", None, "void", would=True),  # says nothing of use
        check("b", True, as_found=True),
        check("b", False, kind="linearity"),
        check("b", False, hours=1),
        check("b", False)._replace(instrument="MA-02"),
    ],
)
def test_other_checks_do_not_contradict_each_other(ordered, other):
    assert len(ordered([check("a", True), other])) == 2


@ONE_PASS
def test_out_and_back_at_one_instant_is_refused(ordered):
    log = [entry("a", "out-of-service"), entry("b", "back-in-service", place="/entries/1")]
    (flaw,) = refusals(ordered, log)
    assert (flaw.path, flaw.code) == (("entries", 1, "at"), "contradictory")
    of_two = [log[0], log[1]._replace(instrument="MA-02")]
    assert len(ordered(of_two)) == 2


def test_every_fault_is_told_at_once():
    log = [
        entry("a"),
        entry("a", "move"),
        check("b", True, hours=1),
        check("c", False, hours=1),
        check("d", True, hours=2),
        check("e", False, hours=2),
    ]
    assert [flaw.code for flaw in refusals(in_order, log)] == [
        "repeated-id",
        "contradictory",
        "contradictory",
    ]


def test_an_entry_earlier_than_the_one_before_breaks_the_promise_of_time_order():
    log = [entry("a", hours=1, place="/entries/0"), entry("b", place="/entries/1")]
    (flaw,) = refusals(lambda log: list(Sorted(log)), log)
    assert (flaw.path, flaw.code) == (("entries", 1, "at"), "not-in-order")
    assert "a (2026-03-16T09:00:00+01:00)" in flaw.detail


def test_one_pass_holds_no_more_than_an_instant():
    passed_on = iter(Sorted(entry(f"{n}", hours=n) for n in range(10**9)))
    assert [next(passed_on).id for _ in range(3)] == ["0", "1", "2"]


def test_no_entries_are_in_order():
    assert in_order([]) == []
    assert list(Sorted([])) == []


def test_entries_after_the_moment_are_left_out_and_counted():
    log = [entry("a"), entry("b", hours=1), entry("c", hours=2)]
    kept, left_out = until(log, EIGHT + timedelta(hours=1))
    assert ([one.id for one in kept], left_out) == (["a", "b"], 1)


@ONE_PASS
def test_two_assessments_of_one_instant_that_do_not_say_the_same_are_refused(ordered):
    def decided(id_, outcome, *results):
        said = Assessment(results, "a bent pan support", outcome, "shift below 0.01 %")
        return entry(id_, "assessment", assessment=said)

    stands = decided("a", "stands", "R-1", "R-2")
    (flaw,) = refusals(ordered, [stands, decided("b", "withdrawn", "R-3", "R-2")])
    assert flaw.code == "contradictory"
    assert "b and a" in flaw.detail
    assert "R-2" in flaw.detail
    others = (decided("b", "stands", "R-2"), decided("b", "withdrawn", "R-3"))
    assert all(len(ordered([stands, other])) == 2 for other in others)
    elsewhere = decided("b", "withdrawn", "R-2")._replace(instrument="MA-02")
    assert len(ordered([stands, elsewhere])) == 2
