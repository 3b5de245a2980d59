"""Balances that move on the day of new weights: each word, what cuts, and false alarms."""

from decimal import Decimal

import numpy as np
import pytest

from weighworthy_service.logbook.signals.weights_shift import weights_shifts
from weighworthy_service.metrology.instrument import Instrument

NAMES = ("MA-41", "MA-42", "MA-43", "MA-44")
MG = 0.001


def said(value):
    """Value in mg."""
    criterion = {"name": "span_error", "stage": "as-found", "load": 50.0, "unit": "g"}
    return ({**criterion, "value": value * MG},)


@pytest.fixture
def site(entry):
    """Weekly spans on each balance: errors before and after, in mg, about the change on day 70."""

    def make(before, after, said_by="entry", names=NAMES):
        logs = {}
        for i, name in enumerate(names):
            log = []
            for n, value in enumerate((*before[i], *after[i])):
                late = n >= len(before[i])
                day = 7 * (n - len(before[i]) + 10) + i
                text = {} if said_by == "entry" else {"H50": "new" if late else "old"}
                more = {"instrument": name, "criteria": said(value), "weights": text}
                log.append(entry(f"{name}-{n}", day, **more))
            if said_by == "entry":
                log.append(entry(f"{name}-w", 70 + i - 0.1, "weights-replaced", name))
            logs[name] = sorted(log, key=lambda one: one.at)
        return logs

    return make


QUIET = ((0, 1, -1, 0, 1), (1, 0, 1, -1, 0), (-1, 0, 0, 1, -1), (0, 0, 1, 1, -1))


def moved(by, before=QUIET):
    return [[value + by[i] for value in values] for i, values in enumerate(before)]


@pytest.mark.parametrize("said_by", ["entry", "certificate"])
def test_all_alike_is_the_weights(site, said_by):
    (found,) = weights_shifts(site(QUIET, moved([3, 3, 3, 3]), said_by), {})
    assert found.word == "the-weights"
    # Means by hand: each balance has the same five errors after as before, 3 mg more.
    assert [b.shift.value for b in found.balances] == pytest.approx([3 * MG] * 4)
    assert found.common.value == pytest.approx(3 * MG)
    assert found.chance_signs == pytest.approx(2 / 16)
    assert found.chance_scatter == pytest.approx(1)
    assert found.sentence.endswith(
        "this fits a change of the weights; no balance by itself explains it."
    )
    assert "mean shift 3 mg" in found.sentence
    assert found.balances[0].entries == tuple(f"MA-41-{n}" for n in range(10))
    assert found.balances[0].change == ("MA-41-w" if said_by == "entry" else "MA-41-5")


def test_uncertainty_of_a_shift_by_hand(site):
    """0, 1, -1, 0, 1: Σ(x - 0.2)² = 2.8 on each side, s² = 5.6/8, u = √(0.7·2/5) = 0.529150 mg."""
    (found,) = weights_shifts(site(QUIET, moved([3] * 4)), {})
    assert found.balances[0].shift.u == pytest.approx(0.529150 * MG, rel=1e-5)
    assert found.balances[0].shift.degrees_of_freedom == 8
    # Rounding to steps of 5 mg alone makes s = 5/√12 = 1.443376 mg, u = 0.912871 mg.
    coarse = {"MA-41": Instrument(Decimal("0.005"))}
    (rough,) = weights_shifts(site(QUIET, moved([3] * 4)), coarse)
    assert rough.balances[0].shift.u == pytest.approx(0.912871 * MG, rel=1e-5)


@pytest.mark.parametrize(
    ("by", "word"),
    [
        ([0, 0, 0, 0], "no-common-shift"),
        ([3, -3, 3, -3], "no-common-shift"),
        ([2, 2, 2, 8], "not-alike"),
        ([0, 0, 0, 9], "one-balance"),
    ],
)
def test_other_words(site, by, word):
    (found,) = weights_shifts(site(QUIET, moved(by)), {})
    assert found.word == word


def test_two_balances_are_too_few(site):
    (found,) = weights_shifts(site(QUIET, moved([3] * 4), names=NAMES[:2]), {})
    assert (found.word, found.common, found.adjusted) == ("too-few", None, None)
    assert "too few balances" in found.sentence


@pytest.mark.parametrize("kind", ["adjustment", "service", "move"])
def test_what_else_happened_cuts(site, entry, kind):
    """MA-41: before the third check after; MA-42: before the last two; MA-43: all before."""
    logs = site(QUIET, moved([3] * 4))
    logs["MA-41"].append(entry("x", 70 + 7 + 1, kind))
    logs["MA-42"].append(entry("y", 55, kind, "MA-42"))
    logs["MA-43"].append(entry("z", 69, kind, "MA-43"))
    for log in logs.values():
        log.sort(key=lambda one: one.at)
    (found,) = weights_shifts(logs, {})
    assert [(b.instrument, b.before, b.after) for b in found.balances] == [
        ("MA-41", 5, 2),
        ("MA-42", 2, 5),
        ("MA-44", 5, 5),
    ]


def test_checks_long_before_the_change_do_not_count(site, entry):
    logs = site(QUIET, moved([3] * 4))
    logs["MA-41"] = [entry("x", 9.5, instrument="MA-41", criteria=said(90)), *logs["MA-41"][3:]]
    (found,) = weights_shifts(logs, {})
    assert (found.balances[0].before, found.balances[0].after) == (2, 5)
    assert found.word == "the-weights"


def test_void_checks_do_not_count_and_equal_errors_say_nothing(site, entry):
    logs = site(QUIET, moved([3] * 4))
    logs["MA-41"].append(entry("v", 70.5, verdict="void", instrument="MA-41", criteria=said(500)))
    logs["MA-41"].sort(key=lambda one: one.at)
    (found,) = weights_shifts(logs, {})
    assert "v" not in found.balances[0].entries
    same = site([[0] * 5] * 4, [[3] * 5] * 4)
    assert weights_shifts(same, {}) == ()
    known = {name: Instrument(Decimal("0.001")) for name in NAMES}
    assert weights_shifts(same, known)[0].word == "the-weights"


def test_no_change_of_weights_no_finding(site):
    logs = site(QUIET, moved([3] * 4), said_by="nobody")
    for name, log in logs.items():
        logs[name] = [one._replace(said=one.said._replace(weights={})) for one in log]
    assert weights_shifts(logs, {}) == ()


def test_checks_that_meet_the_new_weights_much_later_are_another_change(site, entry):
    logs = site(QUIET, moved([3] * 4))
    late = [e._replace(at=e.at.replace(year=2027)) for e in logs["MA-44"]]
    found = weights_shifts({**logs, "MA-44": late}, {})
    assert [(f.word, len(f.balances)) for f in found] == [("the-weights", 3), ("too-few", 1)]


def test_false_alarms_are_no_more_frequent_than_the_level(site):
    """300 seeded changes to weights as good as the old ones; 15 would be five in a hundred.

    Any word that claims a common shift counts; three standard errors are 11.
    """
    chance = np.random.default_rng(5)
    alarms = 0
    for _ in range(300):
        before, after = (np.round(chance.normal(0, 0.9, (4, 5))).tolist() for _ in range(2))
        known = {name: Instrument(Decimal("0.001")) for name in NAMES}
        found = weights_shifts(site(before, after), known)
        alarms += any(one.word in ("the-weights", "not-alike") for one in found)
    assert alarms <= 26


def test_simulated_mill_with_a_worn_weight_and_with_a_good_one(mill):
    """The new 50 g weight is 3 mg heavier than its certificate says."""
    quiet = {"balances": 5, "moves": 0, "adjustments": 0, "knocks": 0, "power_offs": 0}
    logs, balances = mill(2, new_weights_error=3, **quiet)
    found = {(f.kind.check, f.kind.load): f for f in weights_shifts(logs, balances)}
    span = found["span", 50.0]
    assert span.word == "the-weights"
    assert abs(span.common.value - 3 * MG) < 3 * span.common.u
    # Its small companions share the fault in proportion, which a loss hardly sees.
    assert found["simulated-loss", 12.0].word == "no-common-shift"
    logs, balances = mill(2, new_weights_error=0, **quiet)
    claims = {"the-weights", "not-alike"}
    assert not claims & {f.word for f in weights_shifts(logs, balances)}
