"""Attempts after a failure. Each entry an hour after the one before; ladders as profiles have them:
repeat twice, adjust once, then out of service."""

from datetime import datetime, timedelta

import pytest

from weighworthy_service.logbook.entries import CheckSaid, Entry
from weighworthy_service.logbook.requirements import Requirement, Scheduled
from weighworthy_service.logbook.standing import Standing
from weighworthy_service.logbook.status import status_of
from weighworthy_service.profiles.document import Schedule, Step

EIGHT = datetime.fromisoformat("2026-03-16T08:00:00+01:00")
FULL = (Step("repeat", 2), Step("adjust"), Step("out-of-service"))
WITH_SERVICE = (Step("repeat", 2), Step("adjust"), Step("service"), Step("out-of-service"))
NO_END = (Step("repeat"), Step("service", 2))
CHECKS = {
    "pass": ("pass", True, None, False),
    "fail": ("fail", False, None, False),
    "fail-adjusted": ("fail", False, None, True),
    "void": ("void", None, True, False),
    "void-fail": ("void", None, False, False),
}


def status(words, ladder=FULL):
    """Of a log in words; a word with `span:` is a check of that other kind, which is required."""
    schedule = (Scheduled(Schedule("48 h"), "P /0"),)
    required = [
        Requirement("simulated-loss", schedule, ladder, "P /2"),
        Requirement("span", schedule),
    ]
    standing = Standing(required, None)
    for hour, word in enumerate(("span:pass", *words.split())):
        kind, _, name = word.rpartition(":")
        when = EIGHT + timedelta(hours=hour)
        if name not in CHECKS:
            standing.take(Entry(f"e{hour}", word, when, "MA-01"))
            continue
        verdict, usable, would, adjusted = CHECKS[name]
        slug = kind or "simulated-loss"
        said = CheckSaid(slug, verdict, usable, usable, would, adjusted, trusted=True)
        standing.take(Entry(f"e{hour}", "check", when, "MA-01", said=said))
    return status_of(standing, EIGHT + timedelta(hours=40))


def next_step(words, ladder=FULL):
    step = status(words, ladder).next_step
    return step.step, step.tries_done, step.tries_allowed


@pytest.mark.parametrize(
    ("words", "step"),
    [
        ("fail", ("repeat", 0, 2)),
        ("fail fail", ("repeat", 1, 2)),
        ("fail void", ("repeat", 1, 2)),
        ("void-fail void", ("repeat", 1, 2)),
        ("fail fail fail", ("adjust", 0, 1)),
        ("fail fail void-fail adjustment", ("check", 0, 1)),
        ("fail fail fail adjustment fail", ("out-of-service", None, None)),
        # An attempt may skip the rungs below it.
        ("fail adjustment", ("check", 0, 2)),
        ("fail adjustment fail", ("out-of-service", None, None)),
        ("fail fail-adjusted", ("out-of-service", None, None)),
        # and never goes back: on a higher rung than its own it counts there.
        ("fail fail fail fail", ("out-of-service", None, None)),
        # A service is no rung of this ladder: it counts on the present one.
        ("fail service", ("check", 0, 2)),
        ("fail service fail", ("repeat", 1, 2)),
        # An adjustment before the failed check is none after it.
        ("adjustment fail fail", ("repeat", 1, 2)),
        ("fail-adjusted fail", ("repeat", 1, 2)),
        # Another kind of check that adjusted the balance did adjust it.
        ("fail span:fail-adjusted span:pass", ("check", 0, 2)),
        ("fail span:fail-adjusted span:pass fail", ("out-of-service", None, None)),
        # What else happens is no rung.
        ("fail cleaning fail", ("repeat", 1, 2)),
        # Use restored, the next failure begins anew.
        ("fail fail pass fail", ("repeat", 0, 2)),
        # Attempts of other kinds do not count.
        ("fail span:pass span:pass span:pass", ("repeat", 0, 2)),
    ],
)
def test_the_ladder_is_climbed_by_attempts(words, step):
    assert next_step(words) == step


@pytest.mark.parametrize(
    ("words", "step"),
    [
        ("fail fail", ("service", 0, 2)),
        # A ladder at `service` is not content with an adjustment.
        ("fail fail adjustment", ("service", 0, 2)),
        ("fail fail service", ("check", 0, 2)),
        ("fail fail service fail", ("service", 1, 2)),
        ("fail fail service fail service fail", ("out-of-service", None, None)),
    ],
)
def test_the_end_of_a_ladder_is_out_of_service(words, step):
    assert next_step(words, NO_END) == step


def test_an_attempt_after_a_service_is_made_on_its_rung():
    assert next_step("fail service", WITH_SERVICE) == ("check", 0, 2)
    assert next_step("fail service fail", WITH_SERVICE) == ("out-of-service", None, None)
    assert next_step("fail service adjustment fail", WITH_SERVICE)[0] == "out-of-service"
    assert next_step("fail adjustment fail", WITH_SERVICE) == ("service", 0, 1)


USED_UP = "fail fail fail adjustment fail"


@pytest.mark.parametrize(
    ("then", "state"),
    [
        ("pass", "out-of-service"),
        ("pass pass pass", "out-of-service"),
        ("adjustment pass", "out-of-service"),
        ("service pass", "in-service"),
        ("back-in-service pass", "in-service"),
        # A pass before the service is none after it.
        ("pass service", "out-of-service"),
        ("pass back-in-service", "out-of-service"),
        # One service, one try.
        ("service fail pass", "out-of-service"),
        ("service void pass", "out-of-service"),
        ("service fail service pass", "in-service"),
        ("out-of-service service pass", "out-of-service"),
        ("out-of-service service pass back-in-service", "in-service"),
        ("out-of-service back-in-service pass", "in-service"),
    ],
)
def test_a_used_up_ladder_is_not_ended_by_a_pass_alone(then, state):
    assert status(f"{USED_UP} {then}").state == state


def test_before_the_ladder_is_used_up_a_service_is_no_leave_for_later():
    assert status("fail service fail fail adjustment fail pass").state == "out-of-service"


@pytest.mark.parametrize(
    ("then", "step"),
    [
        ("", "out-of-service"),
        ("pass", "out-of-service"),
        ("out-of-service", "service"),
        ("out-of-service service", "check"),
        ("out-of-service service pass", "back-in-service"),
        ("out-of-service back-in-service", "check"),
        ("service", "check"),
    ],
)
def test_the_way_back_from_a_used_up_ladder(then, step):
    assert status(f"{USED_UP} {then}").next_step.step == step


def test_a_ladder_that_begins_with_out_of_service_allows_no_try():
    only = (Step("out-of-service"),)
    assert next_step("fail", only) == ("out-of-service", None, None)
    assert status("fail pass", only).state == "out-of-service"
    assert status("fail service pass", only).state == "in-service"


def test_without_a_ladder_a_person_decides_and_a_pass_restores():
    assert next_step("fail fail void", ()) == ("decide", None, None)
    assert status("fail fail void pass", ()).state == "in-service"


def test_the_reasons_are_the_checks_and_what_lay_between_them():
    found = status("fail cleaning fail fail adjustment fail fail pass service")
    named = [reason.entry for reason in found.because if reason.entry]
    # e1 failed, e3 e4 repeats, e5 adjustment, e6 the last try; what came then changed nothing
    # before the service e9, which allows another.
    assert named == ["e1", "e3", "e4", "e5", "e6", "e9"]
    assert "P /2" in [reason.rule for reason in found.because]


def test_a_try_that_a_service_allowed_is_among_the_reasons_too():
    found = status("fail fail fail adjustment fail service fail")
    named = [reason.entry for reason in found.because if reason.entry]
    assert named == ["e1", "e2", "e3", "e4", "e5", "e6", "e7"]


def test_the_reasons_come_in_order_of_time():
    found = status("fail adjustment service adjustment")
    assert [reason.entry for reason in found.because if reason.entry] == ["e1", "e3", "e4"]


def test_a_valid_failure_after_a_void_one_is_the_state():
    failed = [one.state for one in status("void-fail fail").kinds if one.check != "span"]
    assert failed == ["failed"]
    assert status("void-fail fail").since == EIGHT + timedelta(hours=1)
    used_up = status("void-fail void void adjustment void fail")
    assert [one.state for one in used_up.kinds if one.check != "span"] == ["failed"]
    assert "e6" in [reason.entry for reason in used_up.because]


def test_a_pass_that_comes_too_late_to_count_is_named():
    found = status("fail fail fail fail pass pass")
    (late,) = [one for one in found.findings if one.code == "pass-does-not-count"]
    assert "check e6 passed" in late.message
    assert found.state == "out-of-service"
    restored = status("fail fail fail fail pass service pass")
    assert not [one for one in restored.findings if one.code == "pass-does-not-count"]


def test_a_next_step_that_rests_on_being_out_of_service_names_the_entry():
    step = status("fail fail fail fail out-of-service").kinds[0].next_step
    assert step.step == "service"
    assert "e5" in [one.entry for one in step.because]


@pytest.mark.parametrize(("kind", "said"), [("heater", "a clean pan ("), ("span", "and clean w")])
def test_only_checks_with_weights_are_repeated_with_clean_ones(kind, said):
    requirement = Requirement(kind, (), FULL, "P /2")
    standing = Standing([requirement], None)
    failed = CheckSaid(kind, "fail", False, False, None, False, trusted=True)
    standing.take(Entry("e1", "check", EIGHT, "MA-01", said=failed))
    sentence = status_of(standing, EIGHT + timedelta(hours=1)).next_step.sentence
    assert sentence.startswith(f"repeat {kind} with ")
    assert said in sentence
