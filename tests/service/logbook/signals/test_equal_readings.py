"""Equal readings: what is looked at, what is passed over, and how often it is a false alarm."""

from decimal import Decimal

import numpy as np
import pytest

from weighworthy_service.logbook.signals.equal_readings import equal_readings
from weighworthy_service.logbook.signals.same_readings import chance_of_pairs, chance_of_run
from weighworthy_service.metrology.instrument import Instrument


def balance(s="0.0007", d="0.001"):
    return {"MA-41": Instrument(Decimal(d), "MA-41", repeatability=s and Decimal(s))}


def loss(value, load=12.0):
    return {
        "check": "simulated-loss",
        "criteria": ({"name": "loss_error", "load": load, "value": value, "unit": "%"},),
        "results": {"evaluated_from": "masses"},
    }


@pytest.fixture
def losses(entry):
    """One simulated loss a day with these errors, by persons in turn."""

    def make(values, people=("A. Brook", "C. Field")):
        return {
            "MA-41": [
                entry(f"e{day}", day, by=people[day % len(people)], **loss(value))
                for day, value in enumerate(values)
            ]
        }

    return make


def test_a_run_and_its_chance(losses):
    """12 checks of 20 alike, each with two readings."""
    logs = losses([*range(4), *[9] * 12, *range(20, 24)], people=("A. Brook",))
    found = {one.what: one for one in equal_readings(logs, balance())}
    run = found["run"]
    assert (run.equal, run.of, run.person) == (12, 20, None)
    assert run.chance == chance_of_run(12, 20, 0.7, 2)
    assert run.entries == tuple(f"e{day}" for day in range(4, 16))
    assert run.stands_out
    assert "12 checks in a row of 20 (simulated-loss)" in run.sentence
    # Pairs 0-1, 2-3, …: six of ten lie within the run.
    near = found["neighbours"]
    assert (near.equal, near.of) == (6, 10)
    assert near.chance == chance_of_pairs(6, 10, 0.7, 2)


def test_one_person_who_repeats_what_the_other_read(losses):
    """C. Field follows A. Brook every day with the same figures."""
    logs = losses([day // 2 for day in range(40)])
    found = {(one.what, one.person): one for one in equal_readings(logs, balance())}
    field, brook = found["neighbours", "C. Field"], found["neighbours", "A. Brook"]
    assert (field.equal, field.of, field.others) == (20, 20, (0, 19))
    assert (brook.equal, brook.of, brook.others) == (0, 19, (20, 20))
    assert field.stands_out
    assert not brook.stands_out
    assert field.sentence.endswith("of the others, 0 of 19.")
    # A sentence is read aloud and passed on: whose checks they are stands apart from it.
    assert field.person
    assert field.person not in field.sentence
    assert "checks by one person" in field.sentence
    assert set(field.entries) == {f"e{day}" for day in range(40)}


@pytest.mark.parametrize(
    "balances", [{}, balance(s=None), balance(s="0"), balance(s="0.0002"), balance(d="1")]
)
def test_silent_where_equal_readings_tell_nothing(losses, balances):
    """Not stated, or so little scatter that two are equal more often than not."""
    assert equal_readings(losses([5] * 30), balances) == ()


def test_displayed_losses_and_answers_without_figures_are_passed_over(entry):
    shown = {**loss(0.01), "results": {"evaluated_from": "displayed"}}
    log = [entry(f"e{day}", day, **shown) for day in range(20)]
    log += [entry(f"f{day}", 30 + day, check="linearity") for day in range(20)]
    log += [entry(f"g{day}", 60 + day, check="span") for day in range(20)]
    assert equal_readings({"MA-41": log}, balance()) == ()


def test_linearity_and_span_count_their_readings(entry):
    points = [{"load": load, "error": 0.001} for load in (2, 10, 20, 50)]
    rounds = tuple(
        {"name": name, "stage": "as-found", "load": 50.0, "value": 0.002, "unit": "g"}
        for name in ("span_error", "span_error", "zero_return")
    )
    log = [entry(f"l{n}", n, check="linearity", results={"points": points}) for n in range(4)]
    log += [entry(f"s{n}", n + 0.5, check="span", criteria=rounds) for n in range(4)]
    found = {(one.check, one.what): one for one in equal_readings({"MA-41": log}, balance())}
    assert found["linearity", "run"].chance == chance_of_run(4, 4, 0.7, 4)
    assert found["span", "run"].chance == chance_of_run(4, 4, 0.7, 2)


def test_other_loads_are_other_readings(entry):
    log = [entry(f"e{day}", day, **loss(0.0, 12.0 + day % 2)) for day in range(20)]
    assert all(one.equal <= 1 for one in equal_readings({"MA-41": log}, balance()))


def test_false_alarms_are_no_more_frequent_than_the_level(losses):
    """200 seeded histories of rounded normal readings; 10 would be five in a hundred.

    The value stays at the likeliest place, so that the bound is as near as it gets; three standard
    errors are 9.
    """
    chance = np.random.default_rng(8)
    alarms = 0
    for _ in range(200):
        shown = np.round(chance.normal(0, 0.7, (120, 2))).astype(int)
        logs = losses([tuple(map(int, pair)) for pair in shown])
        alarms += any(one.stands_out for one in equal_readings(logs, balance()))
    assert alarms <= 19


def test_who_copies_in_a_simulated_mill(mill):
    logs, balances = mill(3, copier="K. Strand")
    alarms = [one for one in equal_readings(logs, balances) if one.stands_out]
    assert {one.person for one in alarms} >= {"K. Strand"}
    assert {one.person for one in alarms} <= {"K. Strand", None}
    logs, balances = mill(3, copier=None)
    assert not any(one.stands_out for one in equal_readings(logs, balances))
