"""Support of results, each sentence of the rules by a small log; instants in hours of one day."""

import random
from datetime import UTC, datetime, time, timedelta
from decimal import Decimal
from fractions import Fraction
from time import process_time
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weighworthy_service.checks.flaws import SenseError
from weighworthy_service.logbook.calendar import Calendar, Shift
from weighworthy_service.logbook.entries import Assessment, CheckSaid, Entry, Result
from weighworthy_service.logbook.kind_standing import IN_USE
from weighworthy_service.logbook.needs import STATES
from weighworthy_service.logbook.ordering import in_order
from weighworthy_service.logbook.requirements import Requirement, Scheduled
from weighworthy_service.logbook.standing import Standing
from weighworthy_service.logbook.support import ResultSupport, summary, support_of
from weighworthy_service.profiles.document import Schedule, Step

BEGIN = datetime(2026, 3, 2, tzinfo=UTC)
END = BEGIN + timedelta(days=3650)
SPAN_FAILS = {"name": "span_error", "key": "span_error[0]", "verdict": "fail", "load": 20.0}
ZERO_FAILS = {
    "name": "zero_return",
    "key": "zero_return[0]",
    "verdict": "fail",
    "load": 20.0,
    "value": 0.004,
    "expanded_uncertainty": 0.001,
}


def required(check: str, every: str | None = None, *after: str) -> Requirement:
    place = f"kestrel@1 /rules/{check}/schedule"
    return Requirement(check, (Scheduled(Schedule(every=every, after=after), place),))


SPAN = required("span", None, "moved", "after-adjustment")
LOSS = required("simulated-loss")


def at(hour: float) -> datetime:
    return BEGIN + timedelta(hours=hour)


def said(outcome: str, check: str = "span", *criteria: Any, **results: Any) -> CheckSaid:
    """`pass`, `fail`, `void`, `void-fail`, and what becomes of a balance that is adjusted."""
    usable, found, would, adjusted = {
        "pass": (True, True, None, False),
        "fail": (False, False, None, False),
        "void": (None, None, None, False),
        "void-fail": (None, None, False, False),
        "pass-as-left": (True, None, None, False),
        "fail-as-left": (False, None, None, False),
        "adjusted-unseen": (True, None, None, True),
        "adjusted-good": (True, True, None, True),
        "adjusted-bad": (True, False, None, True),
        "adjusted-bad-void": (None, False, None, True),
    }[outcome]
    verdict = "void" if usable is None else "pass" if usable else "fail"
    return CheckSaid(check, verdict, usable, found, would, adjusted, True, criteria, results)


def check(hour: float, outcome: str = "pass", kind: str = "span", *criteria: Any, **results: Any):
    id_ = f"{kind}-{hour:g}"
    return Entry(id_, "check", at(hour), "MA-07", said=said(outcome, kind, *criteria, **results))


def event(hour: float, kind: str) -> Entry:
    return Entry(f"{kind}-{hour:g}", kind, at(hour), "MA-07")


def assessed(hour: float, *results: str) -> Entry:
    decided = Assessment(results or ("R",), "a bent pan support", "stands", "shift below 0.01 %")
    return Entry(f"a-{hour:g}", "assessment", at(hour), "MA-07", "B. Hale", assessment=decided)


def result(hour: float = 10, id_: str = "R", **more: Any) -> Result:
    given_ = {name: Decimal(value) if name != "method" else value for name, value in more.items()}
    return Result(id_, "MA-07", at(hour), **given_)


def support(
    *log: Entry, of: Result | None = None, requires: tuple[Requirement, ...] = (SPAN,)
) -> ResultSupport:
    of = of or result()
    (found,) = support_of({of.method: requires}, None, in_order(log), [of], END)
    return found


def state(*log: Entry, **more: Any) -> str:
    return support(*log, **more).state


def test_supported_by_the_last_check_before_and_the_first_after() -> None:
    found = support(check(6), check(8), check(12), check(14, "fail"))
    (span,) = found.kinds
    assert found.state == "supported"
    assert (span.before, span.after) == ("span-8", "span-12")
    assert [one.entry for one in found.because] == ["span-8", "span-12"]
    assert (found.needs, found.crossing) == ("nothing", None)


def test_open_until_a_check_follows() -> None:
    found = support(check(8))
    assert (found.state, found.kinds[0].after, found.needs) == ("open", None, "nothing")


@pytest.mark.parametrize(
    "log",
    [
        (),
        (check(12),),  # a later check restores nothing backwards
        (check(8, "fail"), check(12)),
        (check(8), event(9, "move"), check(12)),
        (check(8), event(9, "out-of-service"), check(12)),
        (check(8), check(9, "void-fail"), check(12)),
        (check(8, "void"), check(12)),
        (check(10), check(12)),  # at the instant of a check, a result lies before it
    ],
)
def test_unsupported_without_a_valid_check_in_force(log: tuple[Entry, ...]) -> None:
    assert state(*log) == "unsupported"


def test_an_overdue_check_supports_nothing_and_one_on_the_limit_does() -> None:
    daily = (required("span", "24 h"),)
    assert state(check(8), check(40), of=result(32), requires=daily) == "supported"
    found = support(check(8), check(40), of=result(32.001), requires=daily)
    assert (found.state, found.sentence) == ("unsupported", "the span check was overdue")


def daily(first: str | None) -> tuple[Requirement, ...]:
    schedule = Schedule(every="day", at=first)
    return (Requirement("span", (Scheduled(schedule, "kestrel@1 /rules/0/schedule"),)),)


@pytest.mark.parametrize(
    ("first", "hour", "expected"),
    [
        (None, 24 + 9, "supported"),  # due, and there is time until the last shift ends
        (None, 24 + 22, "supported"),  # at the end itself
        (None, 24 + 22.1, "unsupported"),
        ("first-use", 24 + 6, "supported"),  # at the start of the first shift itself
        ("first-use", 24 + 6.1, "unsupported"),
        ("first-use", 24 + 5, "supported"),  # before work begins
    ],
)
def test_by_the_calendar(first: str | None, hour: float, expected: str) -> None:
    every = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
    calendar = Calendar("UTC", (Shift(every, time(6), time(22)),))
    # Checked on Monday at 7:00; the next check is on Wednesday, so that Tuesday has none.
    log = [check(7), check(48 + 7)]
    (found,) = support_of({None: daily(first)}, calendar, log, [result(hour)], END)
    assert found.state == expected


def test_a_day_without_a_calendar_is_refused() -> None:
    with pytest.raises(SenseError) as caught:
        support(check(7), requires=daily(None))
    assert [(flaw.path, flaw.code) for flaw in caught.value.flaws] == [(("calendar",), "required")]


def test_out_of_service_by_an_entry_is_no_kind_of_check() -> None:
    found = support(check(8), event(9, "out-of-service"), event(11, "back-in-service"), check(12))
    assert (found.state, found.check) == ("unsupported", None)
    assert "out-of-service-9" in [one.entry for one in found.because]
    # Taken back, it stands as before: the check is still in force.
    assert state(check(8), event(8.5, "out-of-service"), event(9, "back-in-service")) == "open"


def test_nothing_required_supports_nothing() -> None:
    found = support(check(8), check(12), requires=())
    assert (found.state, found.check, found.needs) == ("unsupported", None, "assessment")
    assert [one.code for one in found.findings] == ["nothing-required"]
    failed = support(check(8), check(12, "fail"), requires=())
    assert (failed.state, failed.check) == ("unsupported", None)


def test_every_required_kind_counts_and_the_worst_is_named() -> None:
    both = (SPAN, LOSS)
    found = support(check(8), check(8.5, kind="simulated-loss"), check(12), requires=both)
    assert [(one.check, one.state) for one in found.kinds] == [
        ("span", "supported"),
        ("simulated-loss", "open"),
    ]
    assert (found.state, found.check) == ("open", "simulated-loss")


def test_a_passing_simulated_loss_never_clears_a_failed_span() -> None:
    both = (SPAN, LOSS)
    log = (
        check(8),
        check(8, kind="simulated-loss"),
        check(12, "fail"),
        check(13, kind="simulated-loss"),
    )
    found = support(*log, requires=both)
    assert (found.state, found.check) == ("in-doubt", "span")
    later = support(*log, check(15), of=result(14), requires=both)
    assert (later.state, later.check) == ("unsupported", "span")


@pytest.mark.parametrize("adjusting", [event(11, "adjustment"), event(11, "service")])
def test_a_pass_after_an_adjustment_does_not_support_what_lies_before(adjusting: Entry) -> None:
    assert state(check(8), adjusting) == "unconfirmed"
    found = support(check(8), adjusting, check(12))
    assert (found.state, found.needs) == ("unconfirmed", "assessment")
    assert adjusting.id in [one.entry for one in found.because]
    # Read as found before it was adjusted, it does.
    assert state(check(8), check(10.5), adjusting, check(12)) == "supported"


def test_so_it_is_with_an_adjustment_in_the_course_of_a_check() -> None:
    assert state(check(8), check(12, "adjusted-unseen")) == "unconfirmed"
    assert state(check(8), check(12, "adjusted-good")) == "supported"
    assert state(check(8), check(12, "adjusted-bad")) == "in-doubt"
    # Whatever kind of check it was that adjusted.
    both = (SPAN, LOSS)
    begin = (check(8), check(8, kind="simulated-loss"), check(12, "adjusted-good"))
    found = support(*begin, check(13, kind="simulated-loss"), requires=both)
    assert (found.state, found.check) == ("unconfirmed", "simulated-loss")


def test_a_fail_after_an_adjustment_leaves_doubt() -> None:
    found = support(check(8), event(11, "adjustment"), check(12, "fail", "span", ZERO_FAILS))
    assert (found.state, found.shifts, found.crossing) == ("in-doubt", (), "unknown")
    assert "the error before that is not known" in found.sentence


def test_in_doubt_whether_or_not_a_repeat_passes() -> None:
    assert state(check(8), check(12, "fail")) == "in-doubt"
    assert state(check(8), check(12, "fail"), check(12.1), check(12.2)) == "in-doubt"


def test_only_results_since_the_last_passing_check_are_in_doubt() -> None:
    log = (check(8), check(10), check(12, "fail"))
    assert state(*log, of=result(9)) == "supported"
    assert state(*log, of=result(10)) == "supported"  # at the instant of a check: before it
    assert state(*log, of=result(10.1)) == "in-doubt"
    assert state(*log, of=result(12)) == "in-doubt"
    assert state(*log, of=result(12.1)) == "unsupported"


def test_a_check_without_as_found_readings_says_nothing_of_the_time_before() -> None:
    assert state(check(8), check(12, "pass-as-left")) == "open"
    assert state(check(8), check(12, "pass-as-left"), check(13)) == "supported"
    assert state(check(8), check(12, "pass-as-left"), check(13, "fail")) == "in-doubt"
    assert state(check(8), check(12, "fail-as-left")) == "in-doubt"


def test_a_void_check_supports_nothing_and_clears_no_failure() -> None:
    assert state(check(8), check(12, "void")) == "open"
    assert state(check(8), check(12, "void"), check(13)) == "supported"
    assert state(check(8), check(9, "fail"), check(9.5, "void"), check(12)) == "unsupported"


def test_a_fail_as_found_whose_rest_is_void_is_the_check_that_took_it_out() -> None:
    (one,) = support(check(8), check(9, "adjusted-bad-void"), check(12)).kinds
    assert (one.state, one.before) == ("unsupported", "span-9")


def test_a_void_check_that_would_have_failed_is_told() -> None:
    found = support(check(8), check(12, "void-fail"), check(13))
    assert found.state == "supported"
    assert "void-would-have-failed" in [one.code for one in found.findings]
    gone = support(check(8), check(12), check(13, "void-fail"))
    assert "void-would-have-failed" not in [one.code for one in gone.findings]


def test_void_as_left_readings_do_not_hide_what_was_found() -> None:
    assert state(check(8), check(12, "adjusted-bad-void"), check(13)) == "in-doubt"


def test_an_assessment_closes_and_the_state_stays() -> None:
    log = (check(8), check(12, "fail", "span", ZERO_FAILS))
    of = result(loss="10", initial_mass="4", upper_limit="10")
    assert support(*log, of=of).needs == "action"
    found = support(*log, assessed(13), of=of)
    assert (found.state, found.needs) == ("in-doubt", "nothing")
    assert found.assessed is not None
    assert found.assessed.id == "a-13"
    assert "a-13" in [one.entry for one in found.because]


def test_an_assessment_from_before_the_failure_closes_nothing() -> None:
    log = (check(8), check(12, "fail"))
    assert support(*log, assessed(12)).assessed is not None  # not earlier
    assert support(*log, assessed(11.9)).assessed is None
    assert support(*log, assessed(13, "R-other")).assessed is None
    # A further kind that fails later puts it in doubt anew.
    both = (SPAN, LOSS)
    more = (*log, check(8, kind="simulated-loss"), assessed(13))
    assert support(*more, requires=both).needs == "nothing"
    again = support(*more, check(14, "fail", "simulated-loss"), requires=both)
    assert (again.assessed, again.needs) == (None, "assessment")


def test_an_assessment_of_what_an_adjustment_left_open_holds() -> None:
    log = (check(8), event(11, "adjustment"))
    assert support(*log, assessed(10.5)).needs == "assessment"
    assert support(*log, assessed(11.5)).needs == "nothing"
    assert support(*log, assessed(11.5), check(12)).needs == "nothing"
    assert support(*log, assessed(11.5), check(12, "fail")).needs == "assessment"


def test_the_last_assessment_counts() -> None:
    found = support(check(8), check(12, "fail"), assessed(13), assessed(14))
    assert found.assessed is not None
    assert found.assessed.id == "a-14"


def test_a_kind_that_is_not_required_counts_where_it_failed() -> None:
    log = (check(8), check(12, kind="linearity"), check(13))
    assert state(*log) == "supported"
    found = support(check(8), check(12, "fail", "linearity"), check(13))
    assert (found.state, found.check) == ("in-doubt", "linearity")
    assert [one.required for one in found.kinds] == [True, False]
    before = support(check(8), check(9, "fail", "linearity"), check(13))
    assert (before.state, before.check) == ("unsupported", "linearity")


def test_methods_have_their_own_requirements() -> None:
    first, second = result(id_="R-1"), result(id_="R-2", method="flour")
    found = support_of(
        {None: (SPAN,), "flour": (SPAN, LOSS)}, None, [check(8), check(12)], [second, first], END
    )
    assert [(one.result.id, one.state) for one in found] == [
        ("R-2", "unsupported"),
        ("R-1", "supported"),
    ]


def test_entries_after_the_moment_do_not_count() -> None:
    (found,) = support_of({None: (SPAN,)}, None, [check(8), check(12)], [result()], at(11))
    assert found.state == "open"


def test_the_shift_of_a_zero_and_the_limits() -> None:
    # Zero + 4 mg found at the end: -100·0.004/4 = -0.1 %, U = 100·0.001/4 = 0.025 %: 10 % was
    # 10.1 % give or take 0.025 %.
    log = (check(8), check(12, "fail", "span", ZERO_FAILS))

    def with_limits(**limits: str) -> ResultSupport:
        return support(*log, of=result(loss="10", initial_mass="4", **limits))

    found = with_limits(upper_limit="10.125")  # on the limit: inside
    assert (found.crossing, found.needs) == ("cannot", "assessment")
    (shift,) = found.shifts
    assert (shift.entry, shift.fault, shift.value) == ("span-12", "zero-change", Fraction("-0.1"))
    assert (shift.corrected, shift.corrected_lower, shift.corrected_upper) == (
        Fraction("10.1"),
        Fraction("10.075"),
        Fraction("10.125"),
    )
    found = with_limits(upper_limit="10.124")
    assert (found.crossing, found.needs) == ("could", "action")
    # What was reported outside, and may have been inside, crosses too.
    assert with_limits(lower_limit="10.05").crossing == "could"
    assert with_limits(lower_limit="10.125").crossing == "could"  # on the limit: inside
    assert with_limits(lower_limit="10.126").crossing == "cannot"
    assert with_limits().crossing == "unknown"
    assert with_limits().needs == "assessment"


def test_a_shift_of_exactly_nothing_crosses_no_limit_and_still_needs_a_person() -> None:
    log = (check(8), check(12, "fail", "span", SPAN_FAILS))
    found = support(*log, of=result(loss="10", initial_mass="4", upper_limit="10"))
    assert (found.crossing, found.needs) == ("cannot", "assessment")
    assert support(*log).crossing == "cannot"


def test_what_does_not_tell_its_error_excludes_nothing() -> None:
    log = (check(8), check(12, "fail"))
    found = support(*log, of=result(loss="9", initial_mass="4", upper_limit="10"))
    assert (found.crossing, found.needs) == ("unknown", "action")
    no_limits = support(*log, of=result(loss="9", initial_mass="4"))
    assert (no_limits.crossing, no_limits.needs) == ("unknown", "assessment")
    without_u = {**ZERO_FAILS, "expanded_uncertainty": None}
    log = (check(8), check(12, "fail", "span", without_u))
    of = result(loss="10", initial_mass="4", upper_limit="11")
    assert support(*log, of=of).crossing == "unknown"
    assert support(*log, of=of._replace(upper_limit=Decimal("10.09"))).crossing == "could"


def test_a_result_after_a_failed_check_has_the_shift_that_it_showed() -> None:
    found = support(
        check(8), check(9, "fail", "span", ZERO_FAILS), of=result(loss="10", initial_mass="4")
    )
    assert (found.state, [one.value for one in found.shifts]) == (
        "unsupported",
        [Fraction("-0.1")],
    )
    # Adjusted since, the balance may show another error.
    adjusted = support(
        check(8),
        check(9, "fail", "span", ZERO_FAILS),
        event(9.5, "adjustment"),
        of=result(loss="10", initial_mass="4"),
    )
    assert (adjusted.state, adjusted.shifts) == ("unsupported", ())
    # A void check took it out; its figures are void too.
    void = support(check(8), check(9, "void-fail", "span", ZERO_FAILS), of=result(loss="10"))
    assert (void.state, void.shifts, void.crossing) == ("unsupported", (), "unknown")
    # A void check after one that failed changes nothing of what that showed.
    other = {**ZERO_FAILS, "value": 0.4}
    log = (check(8), check(9, "fail", "span", ZERO_FAILS), check(9.5, "void-fail", "span", other))
    both = support(*log, of=result(loss="10", initial_mass="4"))
    assert [(one.entry, one.value) for one in both.shifts] == [("span-9", Fraction("-0.1"))]


def test_a_pass_that_restored_nothing_still_ends_what_was_shown() -> None:
    out = SPAN._replace(response=(Step("out-of-service"),), response_place="kestrel@1 /rules/1")
    log = (check(8), check(9, "fail", "span", ZERO_FAILS), check(9.5))
    found = support(*log, of=result(loss="10", initial_mass="4"), requires=(out,))
    assert (found.state, found.shifts, found.crossing) == ("unsupported", (), "unknown")


def test_without_a_failed_check_an_unsupported_result_needs_an_assessment() -> None:
    found = support(check(12), of=result(loss="10", initial_mass="4", upper_limit="10"))
    assert (found.state, found.crossing, found.needs) == ("unsupported", "unknown", "assessment")


def test_the_range_of_both_checks_is_looked_at() -> None:
    rounds = {"rounds": [{"load": 20.0}]}
    log = (check(8, "pass", "span", **rounds), check(12, "pass", "span", rounds=[{"load": 5.0}]))
    assert support(*log, of=result(initial_mass="5")).findings == ()
    (found,) = support(*log, of=result(initial_mass="6")).findings
    assert (found.code, found.severity) == ("range-not-covered", "warning")
    assert "span-12" in found.message
    assert len(support(*log, of=result(initial_mass="21")).findings) == 2
    # What the result does not state is told once.
    assert [one.code for one in support(*log).findings] == ["range-unknown"]


def test_the_summary_counts_and_says() -> None:
    of = [
        result(9, "R-1"),
        result(11, "R-2", loss="10", initial_mass="4", upper_limit="10"),
        result(13, "R-3"),
        result(11, "R-4"),
    ]
    log = [check(8), check(10), check(12, "fail", "span", ZERO_FAILS), assessed(14, "R-4")]
    found = summary(support_of({None: (SPAN,)}, None, log, of, END))
    assert found == {
        "results": 4,
        "states": {
            "supported": 1,
            "open": 0,
            "unconfirmed": 0,
            "in-doubt": 2,
            "unsupported": 1,
        },
        "needs": {"nothing": 2, "assessment": 1, "action": 1},
        "assessed": 1,
        "sentence": "1 of 4 results needs action; 1 needs an assessment; 1 supported; "
        "2 in-doubt; 1 unsupported",
    }
    assert summary(())["sentence"] == "0 of 0 results need action"
    one = summary(support_of({None: (SPAN,)}, None, log, [result(9)], END))
    assert one["sentence"] == "0 of 1 result needs action; 1 supported"


KINDS = ("span", "simulated-loss", "linearity")
OUTCOMES = (
    "pass",
    "pass",
    "pass",
    "fail",
    "void",
    "void-fail",
    "pass-as-left",
    "fail-as-left",
    "adjusted-unseen",
    "adjusted-good",
    "adjusted-bad",
    "adjusted-bad-void",
)
EVENTS = ("adjustment", "service", "move", "out-of-service", "back-in-service", "cleaning")
LADDER = (Step("repeat"), Step("adjust"), Step("out-of-service"))
REQUIRES = (
    (SPAN, required("simulated-loss", "5 h")),
    (SPAN._replace(response=LADDER, response_place="kestrel@1 /rules/1/response"), LOSS),
    (required("span", "4 h", "moved", "after-adjustment"),),
    (
        required("span", "4 h", "after-adjustment", "after-service"),
        Requirement("linearity", (), LADDER[1:], "kestrel@1 /rules/2/response"),
    ),
)
HOURS, WHAT, OF_KIND = st.integers(0, 20), st.sampled_from(OUTCOMES), st.sampled_from(KINDS)
a_check = st.builds(check, HOURS, WHAT, OF_KIND, st.sampled_from([ZERO_FAILS, SPAN_FAILS]))
an_event = st.builds(event, st.integers(0, 20), st.sampled_from(EVENTS))


def consistent(log: list[Entry]) -> list[Entry]:
    """One check of a kind and one change of service at an instant: others contradict each other."""
    by_place = {
        (
            one.at,
            one.said.check
            if one.said
            else one.kind.removeprefix("back-in-").removeprefix("out-of-"),
        ): one
        for one in log
    }
    return in_order(by_place.values())


logs = st.lists(st.one_of(a_check, a_check, an_event), max_size=14).map(consistent)
instants = st.integers(0, 40).map(lambda half: half / 2)


def by_definition(
    log: list[Entry], of: Result, requires: tuple[Requirement, ...]
) -> dict[str, str]:
    """The rules again, entry by entry for one result: slow, and without sweeps."""
    standing = Standing(requires, None)
    for entry in log:
        if entry.at < of.at:
            standing.take(entry)
    before = {one.check: one.state in IN_USE for one in standing.kinds(of.at)}
    after = {kind: what_follows(kind, [e for e in log if e.at >= of.at]) for kind in KINDS}
    return {
        kind: after[kind] if before.get(kind, True) else "unsupported"
        for kind in KINDS
        if kind in before or after[kind] == "in-doubt"
    }


def what_follows(kind: str, later: list[Entry]) -> str:
    gone = False
    for entry in later:
        one = entry.said
        if one is not None and one.check == kind:
            valid, found = one.verdict != "void", one.lets_use_as_found
            if found is False or (valid and found is None and one.usable is False):
                return "in-doubt"
            if valid and (found or one.adjusted):
                return "unconfirmed" if gone or found is None else "supported"
        gone = gone or entry.kind in ("adjustment", "service") or (one is not None and one.adjusted)
    return "unconfirmed" if gone else "open"


@given(logs, instants, st.sampled_from(REQUIRES))
def test_the_sweeps_say_what_the_rules_say(
    log: list[Entry], hour: float, requires: tuple[Requirement, ...]
) -> None:
    found = support(*log, of=result(hour), requires=requires)
    assert {one.check: one.state for one in found.kinds} == by_definition(
        log, result(hour), requires
    )


@given(logs, st.lists(instants, min_size=1, max_size=5), st.randoms(use_true_random=False))
def test_results_and_entries_may_come_in_any_order(
    log: list[Entry], hours: list[float], chance: random.Random
) -> None:
    results = [result(hour, f"R-{i}") for i, hour in enumerate(hours)]
    alone = {of.id: support(*log, of=of, requires=REQUIRES[0]) for of in results}
    chance.shuffle(results)
    shuffled = list(log)
    chance.shuffle(shuffled)
    found = support_of({None: REQUIRES[0]}, None, in_order(shuffled), results, END)
    assert [one.result.id for one in found] == [of.id for of in results]
    assert all(one == alone[one.result.id] for one in found)


@given(logs, instants, st.integers(0, 40), st.sampled_from(KINDS), st.sampled_from(REQUIRES))
def test_adding_a_passing_check_never_makes_an_earlier_result_worse(
    log: list[Entry], hour: float, later: int, kind: str, requires: tuple[Requirement, ...]
) -> None:
    added = check(hour + later / 2 + 0.25, "pass", kind)
    before = support(*log, of=result(hour), requires=requires)
    after = support(*log, added, of=result(hour), requires=requires)
    assert STATES.index(after.state) <= STATES.index(before.state)


@given(logs, instants, st.sampled_from(REQUIRES))
def test_because_is_enough_to_reach_the_same(
    log: list[Entry], hour: float, requires: tuple[Requirement, ...]
) -> None:
    of = result(hour, loss="10", initial_mass="4", upper_limit="10")
    whole = support(*log, assessed(30), of=of, requires=requires)
    named = {one.entry for one in whole.because}
    kept = [one for one in (*log, assessed(30)) if one.id in named]
    again = support(*kept, of=of, requires=requires)
    assert (again.state, again.check, again.needs) == (whole.state, whole.check, whole.needs)
    assert (again.crossing, again.shifts) == (whole.crossing, whole.shifts)
    assert [of[:5] for of in again.kinds] == [of[:5] for of in whole.kinds]


@given(logs, instants, st.sampled_from(REQUIRES))
def test_only_assessments_change_what_a_later_pass_leaves_in_doubt(
    log: list[Entry], hour: float, requires: tuple[Requirement, ...]
) -> None:
    before = support(*log, of=result(hour), requires=requires)
    repeats = [check(21, "pass", kind) for kind in KINDS]
    after = support(*log, *repeats, of=result(hour), requires=requires)
    if before.state in ("in-doubt", "unsupported", "unconfirmed"):
        assert (after.state, after.needs) == (before.state, before.needs)


def test_the_tries_of_a_ladder_are_not_told_again_with_every_result() -> None:
    steps = (*(Step("repeat", 10) for _ in range(19)), Step("out-of-service"))
    requires = (SPAN._replace(response=steps, response_place="kestrel@1 /rules/1/response"),)
    log = [check(1), *(check(2 + i, "fail") for i in range(300))]
    found = support(*log, of=result(290.5), requires=requires)
    # What took it out, and the last that failed, before the result and after it.
    assert [one.entry for one in found.because] == ["span-2", "span-290", "span-291"]
    assert (found.kinds[0].before, found.kinds[0].after) == ("span-290", "span-291")


def test_linear_and_quick() -> None:
    """1,000 results and 3,000 entries of one balance take well below a second of CPU time, and the
    time grows with them; failed checks throughout, so that shifts are computed too."""

    def took(size: int) -> float:
        log = []
        for i in range(3 * size):
            criteria = () if i % 10 else (ZERO_FAILS,)
            log.append(check(i + 0.5, "pass" if i % 10 else "fail", "span", *criteria))
        results = [
            result(3 * i + 1, f"R-{i}", loss="10", initial_mass="4", upper_limit="11")
            for i in range(size)
        ]
        begin = process_time()
        support_of({None: (SPAN,)}, None, log, results, END)
        return process_time() - begin

    small = min(took(250) for _ in range(3))
    large = min(took(1000) for _ in range(3))
    assert large < 0.8
    assert large < 9 * small  # four times is linear, sixteen times quadratic
