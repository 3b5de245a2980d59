"""Advice on intervals: each word by arithmetic, and against a simulated mill."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weighworthy_service.logbook.entries import CheckSaid, Entry
from weighworthy_service.logbook.intervals import advise, spoken
from weighworthy_service.logbook.reliability import Trial
from weighworthy_service.logbook.trials import Apart, History, history

DAY = 86_400.0
WEEK = 7 * DAY


def of(days, passed, failed):
    made = [Trial(f"e{n}", f"e{n - 1}", days * DAY, n < passed) for n in range(passed + failed)]
    return {"MA-41": History(tuple(made))}


def test_longer_by_hand_and_never_more_than_twice():
    """400 weeks, none failed: R = 95 % is kept for 2800·0.0512933/2.9957323 = 47.9415 days."""
    advice = advise(of(7, 400, 0), WEEK)
    assert advice.advice == "longer"
    assert advice.keeps.low == pytest.approx(47.9415 * DAY, rel=1e-5)
    assert advice.proposed == 14 * DAY
    assert "more than a doubling" in advice.reasons[-1]
    # 100 weeks: 11.9854 days, less than twice.
    less = advise(of(7, 100, 0), WEEK)
    assert less.proposed == pytest.approx(11.9854 * DAY, rel=1e-5)
    assert "doubling" not in less.reasons[-1]


def test_without_failures_so_many_checks_are_needed():
    """0.95^n <= 0.05 from n = 58.4 on: 59 checks; after 20 of them 39 more (58.4 - 20 = 38.4)."""
    advice = advise(of(7, 20, 0), WEEK)
    assert advice.advice == "cannot-tell"
    assert advice.proposed is None
    assert "39 more checks" in advice.reasons[-1]
    # From 29.2 on the interval is at worst twice too long.
    assert advise(of(7, 29, 0), WEEK).advice == "cannot-tell"
    assert advise(of(7, 30, 0), WEEK).advice == "keep"
    assert advise(of(7, 58, 0), WEEK).advice == "keep"
    assert advise(of(7, 59, 0), WEEK).advice == "longer"


def test_shorter_by_hand():
    """60 of 100 good after a week: -ln(0.6) = 0.5108256; 7·0.0512933/0.5108256 = 0.702885 days."""
    advice = advise(of(7, 60, 40), WEEK)
    assert advice.advice == "shorter"
    assert advice.proposed == pytest.approx(0.702885 * DAY, rel=1e-5)
    assert advice.keeps.high < WEEK
    assert advice.reliability.value == pytest.approx(0.6)
    assert advice.reliability.low < 0.6 < advice.reliability.high
    assert (advice.trials, advice.failures) == (100, 40)


def test_keep_and_cannot_tell():
    # 4 of 100 failed, as wanted; with 1 of 25, as good a share, the bounds are too wide.
    assert advise(of(7, 96, 4), WEEK).advice == "keep"
    assert advise(of(7, 96, 4), WEEK).proposed == WEEK
    few = advise(of(7, 24, 1), WEEK)
    assert few.advice == "cannot-tell"
    assert "too wide" in few.reasons[-1]
    # Worse than wanted in all likelihood, yet not shown.
    assert advise(of(7, 93, 7), WEEK).advice == "cannot-tell"


def test_all_failed_proposes_the_longest_that_is_not_contradicted():
    advice = advise(of(7, 0, 5), WEEK)
    assert advice.advice == "shorter"
    assert advice.proposed == advice.keeps.high < WEEK
    assert "every check failed" in " ".join(advice.reasons)


def test_another_reliability_gives_another_advice():
    assert advise(of(7, 90, 10), WEEK, reliability=0.99).advice == "shorter"
    assert advise(of(7, 90, 10), WEEK, reliability=0.7).advice == "longer"


def test_no_trials_or_no_interval():
    nothing = advise(
        {"MA-41": History((), (Apart("a", "not-from-tolerance"),))}, WEEK, occasions=("moved",)
    )
    assert (nothing.advice, nothing.rate, nothing.trials) == ("cannot-tell", None, 0)
    assert nothing.reasons[-1] == "Checks after these stay as they are: moved."
    events = advise(of(7, 100, 2), None)
    assert (events.advice, events.reliability) == ("cannot-tell", None)
    assert "sets no interval" in events.reasons[-1]


def test_groups_that_differ_are_not_taken_for_one():
    mixed = {**of(7, 50, 0), "MA-42": of(7, 25, 25)["MA-41"]}
    advice = advise(mixed, WEEK)
    assert advice.alike < 1e-6
    assert (advice.advice, advice.proposed) == ("cannot-tell", None)
    assert "do not look alike" in advice.reasons[-1]
    alike = advise({**of(7, 50, 2), "MA-42": of(7, 49, 3)["MA-41"]}, WEEK)
    assert alike.trials == 104
    assert not any("alike" in reason for reason in alike.reasons)


def test_because_names_what_counted_and_what_began_it():
    advice = advise(of(7, 2, 1), WEEK)
    assert [b.entry for b in advice.because] == ["e-1", "e0", "e1", "e2"]
    assert advice.because[3].sentence == "out of tolerance 7 days after e1"


def test_what_shares_its_time_with_a_check_is_named():
    """Without the adjustment the second check would be a trial of five hours."""
    start = datetime(2026, 3, 2, tzinfo=UTC)
    said = CheckSaid("span", "pass", True, True, None, False, True)
    log = [
        Entry("a", "check", start, "MA-41", said=said),
        Entry("b", "adjustment", start + timedelta(hours=5), "MA-41"),
        Entry("d", "check", start + timedelta(hours=5), "MA-41", said=said),
    ]
    advice = advise({"MA-41": history(log, "span")}, WEEK)
    assert advice.trials == 0
    assert {because.entry for because in advice.because} == {"a", "b", "d"}


@given(st.data())
def test_because_is_enough_to_reach_the_same_again(data):
    kinds = ("check", "check", "check", "adjustment", "service", "move", "cleaning", "power-off")
    occasions = data.draw(st.sets(st.sampled_from(["moved", "after-adjustment"])))
    entries, hours = [], 0
    for number in range(data.draw(st.integers(0, 14))):
        hours += data.draw(st.integers(0, 3))
        kind = data.draw(st.sampled_from(kinds))
        said = None
        if kind == "check":
            said = CheckSaid(
                data.draw(st.sampled_from(["span", "span", "linearity"])),
                data.draw(st.sampled_from(["pass", "fail", "void", None])),
                data.draw(st.sampled_from([True, False])),
                data.draw(st.sampled_from([True, False, None])),
                None,
                False,
                True,
            )
        at = datetime(2026, 3, 2, tzinfo=UTC) + timedelta(hours=hours)
        entries.append(Entry(f"e{number}", kind, at, "MA-41", said=said))
    advice = advise({"MA-41": history(entries, "span", occasions)}, WEEK, occasions=occasions)
    named = {because.entry for because in advice.because}
    rest = [entry for entry in entries if entry.id in named]
    again = advise({"MA-41": history(rest, "span", occasions)}, WEEK, occasions=occasions)
    assert again == advice


@pytest.mark.parametrize(
    ("seconds", "words"),
    [(3600, "1 h"), (43 * 3600, "43 h"), (2 * DAY, "2 days"), (47.9 * DAY, "48 days")],
)
def test_times_in_words(seconds, words):
    assert spoken(seconds) == words


def test_simulated_mill_as_ground_truth(monkeypatch):
    """Knocks that always put the gain out, k a year, are a constant rate: k/250 a working day.

    Between two Mondays five days can bring one, so λ = 5k/250/7 = k/350 a day. Of 40 simulated
    years of weekly checks, the bounds at 90 % hold that rate in 36, give or take 3·1.9.
    """
    monkeypatch.syspath_prepend(str(Path(__file__).parents[3] / "examples/logbook"))
    from mill_days import one_year
    from mill_year import Plan

    plan = Plan(
        closed=(),
        drift=0,
        wander=0,
        knocks=12,
        knock_size=0.1,
        knock_sticks=0,
        moves=0,
        power_offs=0,
        adjustments=0,
        void=0,
        void_balance=None,
        new_weights=None,
        copier=None,
        results_a_day=0.01,
    )
    held = 0
    pooled = {}
    for seed in range(40):
        entries = [as_entry(one) for one in with_seen(one_year(plan, "MA-41", seed))]
        found = history(entries, "span", {"after-adjustment", "after-service", "set-up"})
        pooled[f"{seed}"] = found
        bounds = advise({"MA-41": found}, WEEK, confidence=0.9).rate
        held += bounds.low <= 12 / 350 / DAY <= bounds.high
    assert 30 <= held <= 40
    together = advise(pooled, WEEK)
    # 2,000 weeks of which exp(-0.24) = 78.66 % end well; one standard error is 0.9 %.
    assert together.share.value == pytest.approx(0.7866, abs=0.028)
    assert together.rate.value == pytest.approx(12 / 350 / DAY, rel=0.15)
    assert together.advice == "shorter"
    # ln(0.95)/ln(0.7866) of a week: 1.496 days.
    assert together.proposed == pytest.approx(1.496 * DAY, rel=0.15)


def with_seen(year):
    for entry in year.entries:
        yield {**entry, "seen": year.seen.get(entry["id"])}


def as_entry(one):
    said = None
    if one["kind"] == "check":
        request, good = one["request"], one["seen"] == "passed"
        rounds = request.get("rounds", [])
        adjusted = any(r["stage"] == "adjustment" for r in rounds)
        # The mill adjusts in a span check only after two that failed.
        said = CheckSaid(
            request["check"],
            "pass" if good else "fail",
            good,
            False if adjusted else good,
            None,
            adjusted,
            True,
        )
    return Entry(one["id"], one["kind"], datetime.fromisoformat(one["at"]), "MA-41", said=said)


def test_percentages_are_not_rounded_to_certainty():
    advice = advise(of(7, 996, 4), WEEK, reliability=0.995)
    assert "A reliability of 99.5 %" in advice.reasons[1]
    assert advice.reasons[0].startswith("996 of 1000 checks found the balance in tolerance: 99.6 %")
