"""Laws of the logbook, for logs of every sort: what must come out by an independent, slower reading
of the rules, and what must never."""

from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal

from hypothesis import assume, given, settings
from hypothesis import strategies as st

from weighworthy_service.checks.flaws import SenseError
from weighworthy_service.logbook.calendar import WEEKDAYS, Calendar, Closed, Open, Shift
from weighworthy_service.logbook.entries import OCCASION_OF, CheckSaid, Entry
from weighworthy_service.logbook.ordering import Sorted, in_order
from weighworthy_service.logbook.requirements import Requirement, Scheduled
from weighworthy_service.logbook.standing import Standing
from weighworthy_service.logbook.status import status_of
from weighworthy_service.profiles.document import Schedule, Step

LAW = settings(max_examples=100, deadline=None, derandomize=True)
START = datetime(2026, 3, 27, 5, 0, tzinfo=UTC)  # clocks change within the first days
BERLIN = Calendar("Europe/Berlin", (Shift(WEEKDAYS[:5], time(6), time(22)),))
SLUGS = ("simulated-loss", "span", "linearity")
EVENTS = tuple(sorted({*OCCASION_OF, "out-of-service", "cleaning", "assessment"}))
ORDER = ("in-service", "check-needed", "out-of-service")  # the best first

PASS = ("pass", True, None)
OUTCOMES = st.sampled_from(
    [
        PASS,
        PASS,
        PASS,
        ("conditional-pass", True, None),
        ("fail", False, None),
        ("fail", False, None),
        ("void", None, True),
        ("void", None, False),
        ("void", None, None),
        (None, None, None),
    ]
)
STEPS = st.lists(
    st.builds(Step, st.sampled_from(["repeat", "adjust", "service"]), st.integers(1, 2)), max_size=3
)


@st.composite
def requirements(draw):
    schedules = st.builds(
        Schedule,
        st.sampled_from([None, "day", "week", "30 h", "90 h"]),
        st.sampled_from([None, "first-use"]),
        st.sampled_from([None, Decimal(3600), Decimal(14400)]),
        st.lists(st.sampled_from(sorted(OCCASION_OF.values())), max_size=3).map(tuple),
    )
    found = []
    slugs = st.lists(st.sampled_from(SLUGS), unique=True, min_size=draw(st.sampled_from([0, 1, 1])))
    for slug in draw(slugs):
        placed = tuple(
            Scheduled(one, f"P /{slug}/{i}")
            for i, one in enumerate(draw(st.lists(schedules, min_size=1, max_size=2)))
        )
        last = draw(st.sampled_from([(), (Step("out-of-service"),)]))
        found.append(Requirement(slug, placed, (*draw(STEPS), *last), f"P /{slug}/ladder"))
    if draw(st.booleans()):  # what a kind that is not required has to do after a failure
        others = [slug for slug in SLUGS if all(one.check != slug for one in found)]
        found += [Requirement(slug, (), draw(STEPS), f"P /{slug}/ladder") for slug in others]
    return tuple(found)


def check(slug, outcome, *, adjusted=False, at=START, id_=""):
    verdict, usable, would = outcome
    said = CheckSaid(slug, verdict, usable, usable, would, adjusted, trusted=True)
    return Entry(id_, "check", at, "MA-01", said=said)


ADJUSTED = st.sampled_from([False, False, True])
CHECKS = st.builds(check, st.sampled_from(SLUGS), OUTCOMES, adjusted=ADJUSTED)
HAPPENED = st.sampled_from(EVENTS).map(lambda kind: Entry("", kind, START, "MA-01"))
ALL_PASS = [check(slug, PASS) for slug in SLUGS]
BLOCKS = st.one_of(
    CHECKS.map(lambda one: [one]),
    HAPPENED.map(lambda one: [one]),
    st.just(ALL_PASS),
    # A ladder climbed: one kind again and again, with something done now and then.
    st.tuples(
        st.sampled_from(SLUGS),
        st.lists(st.sampled_from(["check", "check", "adjustment", "service"]), max_size=6),
    ).map(lambda it: [*climb(*it)]),
)


def climb(slug, words):
    for word in ("check", *words):
        failed = check(slug, ("fail", False, None))
        yield failed if word == "check" else Entry("", word, START, "MA-01")


@st.composite
def logs(draw):
    blocks = draw(st.lists(BLOCKS, max_size=6))
    if draw(st.booleans()):
        blocks = [ALL_PASS, *blocks]
    if draw(st.booleans()):
        blocks = [*blocks, ALL_PASS]
    at, log = START, []
    for number, entry in enumerate(entry for block in blocks for entry in block):
        at += timedelta(minutes=draw(st.sampled_from([1, 5, 60, 60, 480, 0])))
        log.append(entry._replace(id=f"e{number:02}", at=at))
    try:
        return in_order(log)
    except SenseError:
        assume(False)


LATER = st.sampled_from([0, 1, 60, 600, 6000]).map(lambda minutes: timedelta(minutes=minutes))


def end(log):
    return log[-1].at if log else START


def status(required, log, at):
    standing = Standing(required, BERLIN)
    for entry in log:
        standing.take(entry)
    return status_of(standing, at)


def plainly(step):
    return step._replace(because=())


# --- an independent reading ------------------------------------------------------------------


def passed(entry):
    return entry.said.verdict not in (None, "void") and entry.said.usable


def bad(entry):
    void = entry.said.verdict in (None, "void")
    return entry.said.would_let_use is False if void else not entry.said.usable


def may_be_in_service(required, log):
    """Without regard to times and ladders: nothing out, nothing failed, nothing asked."""
    out = False
    for entry in log:
        out = entry.kind == "out-of-service" or (out and entry.kind != "back-in-service")
    if out or not any(one.required for one in required):
        return False
    for slug in SLUGS:
        own = [i for i, entry in enumerate(log) if entry.said and entry.said.check == slug]
        telling = [i for i in own if passed(log[i]) or bad(log[i])]
        if telling and bad(log[telling[-1]]):
            return False
        requirement = next((one for one in required if one.check == slug and one.required), None)
        if requirement is None:
            continue
        if not telling:
            return False
        asked = {OCCASION_OF.get(entry.kind) for entry in log[telling[-1] + 1 :]}
        for entry in log[telling[-1] + 1 :]:
            if entry.said and entry.said.adjusted:
                asked.add("after-adjustment")
        if asked & {o for one in requirement.schedules for o in one.schedule.after}:
            return False
    return True


@LAW
@given(requirements(), logs())
def test_never_in_service_with_anything_failed_void_asked_for_or_missing(required, log):
    if status(required, log, end(log)).usable:
        assert may_be_in_service(required, log)


@LAW
@given(requirements(), logs())
def test_in_service_when_nothing_stands_against_it(required, log):
    """Without ladders and times, which only take out what would else be in."""
    required = tuple(
        one._replace(
            response=(),
            schedules=tuple(
                Scheduled(Schedule("9000 h", after=s.schedule.after), s.place)
                for s in one.schedules
            ),
        )
        for one in required
    )
    assert status(required, log, end(log)).usable is may_be_in_service(required, log)


# --- laws ------------------------------------------------------------------------------------


@LAW
@given(requirements(), logs(), LATER, st.randoms(use_true_random=False))
def test_order_of_arrival_does_not_matter(required, log, later, shuffler):
    arrived = [*log, *log[::2]]
    shuffler.shuffle(arrived)
    assert in_order(arrived) == log
    assert list(Sorted(log)) == log
    at = end(log) + later
    assert status(required, in_order(arrived), at) == status(required, log, at)


@LAW
@given(requirements(), logs(), LATER)
def test_the_reasons_alone_lead_to_the_same_status(required, log, later):
    at = end(log) + later
    found = status(required, log, at)
    named = {reason.entry for reason in found.because}
    again = status(required, [entry for entry in log if entry.id in named], at)
    for member in ("state", "usable", "since", "until"):
        assert getattr(again, member) == getattr(found, member), member
    assert plainly(again.next_step) == plainly(found.next_step)


@LAW
@given(requirements(), logs(), LATER)
def test_the_reasons_of_a_kind_alone_lead_to_the_same_of_it(required, log, later):
    at = end(log) + later
    for kind in status(required, log, at).kinds:
        named = {reason.entry for reason in (*kind.because, *kind.next_step.because)}
        kept = [entry for entry in log if entry.id in named]
        (again,) = [one for one in status(required, kept, at).kinds if one.check == kind.check]
        # The check passed before a failure does not bear on what the failure asks for.
        told = {"next_step": plainly(kind.next_step), "last_passed": None}
        again = again._replace(next_step=plainly(again.next_step))
        assert again._replace(last_passed=None) == kind._replace(**told)


@LAW
@given(requirements(), logs(), LATER, st.data())
def test_a_void_check_never_improves_anything(required, log, later, data):
    position = data.draw(st.integers(0, len(log)))
    before = log[position - 1].at if position else START
    void = data.draw(CHECKS)._replace(id="void", at=before + timedelta(seconds=1))
    void = void._replace(said=void.said._replace(verdict="void", usable=None))
    at = end(log) + timedelta(seconds=1) + later
    with_it = in_order([*log, void])
    found, was = status(required, with_it, at), status(required, log, at)
    assert ORDER.index(found.state) >= ORDER.index(was.state)
    if was.until and found.until:
        assert found.until <= was.until


@LAW
@given(requirements(), logs())
def test_in_service_holds_until_the_moment_told_and_no_longer(required, log):
    found = status(required, log, end(log))
    assert (found.until is None) or found.usable
    if found.until is not None:
        assert status(required, log, found.until).usable
        assert not status(required, log, found.until + timedelta(microseconds=1)).usable
    elif found.usable:
        assert status(required, log, end(log) + timedelta(days=3000)).usable


@LAW
@given(requirements(), logs(), LATER)
def test_states_fit_together(required, log, later):
    at = end(log) + later
    found = status(required, log, at)
    assert found.usable is (found.state == "in-service")
    assert found.since is None or found.since <= at
    failed = [one for one in found.kinds if one.state.startswith("failed")]
    assert not failed or found.state == "out-of-service"
    assert all(one.required or one in failed for one in found.kinds)
    assert (found.next_step.step == "none") <= found.usable
    assert found.next_step.by is None or at <= found.next_step.by


# --- calendars -------------------------------------------------------------------------------

CLOCKS = st.builds(time, st.integers(0, 23), st.sampled_from([0, 30]))
SHIFTS = st.builds(
    Shift, st.lists(st.sampled_from(WEEKDAYS), unique=True, max_size=7).map(tuple), CLOCKS, CLOCKS
)
DATES = st.dates(date(2026, 3, 24), date(2026, 4, 10))
# Of which clocks are changed on March 29 and April 5.
ZONES = st.sampled_from(["Europe/Berlin", "Australia/Lord_Howe"])


@st.composite
def calendars(draw):
    closed = tuple(Closed(*sorted(draw(st.tuples(DATES, DATES)))) for _ in range(draw(SMALL)))
    opened = tuple(
        Open(*sorted(draw(st.tuples(DATES, DATES))), draw(st.sampled_from(WEEKDAYS)))
        for _ in range(draw(SMALL))
    )
    shifts = tuple(draw(st.lists(SHIFTS, max_size=3)))
    return Calendar(draw(ZONES), shifts, closed, opened)


SMALL = st.integers(0, 2)


def placed(wall, zone):
    """Minute by minute: the first instant at which the clocks show this or later."""
    present = wall.replace(tzinfo=UTC) - timedelta(hours=12)
    while present.astimezone(zone).replace(tzinfo=None) < wall:
        present += timedelta(minutes=30)
    return present


def naive_days(calendar):
    """(date, start, end) of the working days around the dates drawn, by the sentences alone."""
    for ordinal in range(date(2026, 3, 19).toordinal(), date(2026, 4, 17).toordinal()):
        day = date.fromordinal(ordinal)
        like = [one.like for one in calendar.open if one.first <= day <= one.last]
        if not like and any(one.first <= day <= one.last for one in calendar.closed):
            continue
        name = like[-1] if like else WEEKDAYS[day.weekday()]
        spans = []
        for shift in calendar.shifts or (Shift(WEEKDAYS, time(), time()),):
            if name in shift.days:
                last = day if shift.begin < shift.end else day + timedelta(days=1)
                start = placed(datetime.combine(day, shift.begin), calendar.zone)
                stop = placed(datetime.combine(last, shift.end), calendar.zone)
                spans += [(start, stop)] if start < stop else []
        if spans:
            yield day, min(start for start, _ in spans), max(stop for _, stop in spans)


@settings(LAW, max_examples=80)
@given(calendars(), st.integers(0, 14 * 24 * 2), st.integers(-1, 1))
def test_days_are_those_of_a_plain_reading(calendar, halves, seconds):
    instant = datetime(2026, 3, 26, tzinfo=UTC) + timedelta(minutes=30 * halves, seconds=seconds)
    days = list(naive_days(calendar))
    # The first day whose end is not over, or a later one that has begun already.
    own = [i for i, (_, _, stop) in enumerate(days) if instant <= stop]
    begun = [i for i, (_, start, _) in enumerate(days) if start <= instant]
    assume(own)
    position = max(own[0], *begun) if begun else own[0]
    assume(position + 1 < len(days))
    periods = calendar.periods("day")
    assert periods.of(instant) == days[position][1:]
    assert periods.after(instant) == days[position + 1][1:]
