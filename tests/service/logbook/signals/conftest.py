"""Entries for tests of signals: single ones, and those of the simulated mill of the examples."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path

import pytest

from weighworthy_service.logbook.entries import CheckSaid, Entry
from weighworthy_service.metrology.instrument import Instrument

START = datetime(2026, 3, 2, 6, tzinfo=UTC)  # a Monday
VERDICTS = {"passed": "pass", "failed": "fail", "void": "void"}


@pytest.fixture
def entry():
    """An entry so many days after a Monday; more of CheckSaid by name."""

    def make(name, day, kind="check", instrument="MA-41", by=None, **more):
        said = None
        if kind == "check":
            verdict = more.pop("verdict", "pass")
            good = verdict == "pass"
            facts = {"check": "span", "would_let_use": None, "adjusted": False, "trusted": True}
            said = CheckSaid(
                verdict=verdict, usable=good, lets_use_as_found=good, **{**facts, **more}
            )
        return Entry(name, kind, START + timedelta(days=day), instrument, by, said=said)

    return make


def span(value, load=50.0, unit="g"):
    """The criterion of a span check with one round."""
    return {"name": "span_error", "stage": "as-found", "load": load, "value": value, "unit": unit}


@pytest.fixture
def mill(monkeypatch):
    """Entries by balance and the balances of a simulated year; errors computed here, by hand."""
    monkeypatch.syspath_prepend(str(Path(__file__).parents[4] / "examples/logbook"))
    from mill_days import one_year
    from mill_year import Plan, names

    def make(seed, **plan):
        plan = Plan(**plan)
        logs = {}
        for name in names(plan):
            year = one_year(plan, name, seed)
            logs[name] = [_entry(one, year.seen.get(one["id"])) for one in year.entries]
        scatter = Decimal(str(plan.scatter)) / 1000
        balances = {
            name: Instrument(Decimal("0.001"), name, repeatability=scatter) for name in names(plan)
        }
        return logs, balances

    return make


def _entry(one, seen):
    said = _said(one["request"], seen) if one["kind"] == "check" else None
    at = datetime.fromisoformat(one["at"])
    return Entry(one["id"], one["kind"], at, one["instrument"], one["by"], said=said)


def _said(request, seen):
    weights = request["weights"]
    masses = {name: _number(weight["conventional_mass"]) for name, weight in weights.items()}
    criteria, results, adjusted = [], {}, False
    if request["check"] == "span":
        for one in request["rounds"]:
            adjusted |= one["stage"] == "adjustment"
            if "indication" in one:
                criteria.append({**span(_error(one, masses)), "stage": one["stage"]})
    elif request["check"] == "linearity":
        results["points"] = [
            {"load": float(point["load"][0][1:]), "error": _error(point, masses)}
            for point in request["points"]
        ]
    else:
        first, end = (_number(request[part]["indication"]) for part in ("initial", "final"))
        m_first, m_end = (
            sum(masses[name] for name in request[part]["load"]) for part in ("initial", "final")
        )
        expected = 100 * (1 - m_end / m_first)
        results = {"evaluated_from": "masses", "expected_loss": float(expected)}
        load = float(sum(int(name[1:]) for name in request["initial"]["load"]))
        value = float(100 * (1 - end / first) - expected)
        criteria = [{"name": "loss_error", "load": load, "value": value, "unit": "%"}]
    good = seen == "passed"
    return CheckSaid(
        request["check"],
        VERDICTS[seen],
        good,
        None if seen == "void" else good and not adjusted,
        None,
        adjusted,
        False,
        tuple(criteria),
        results,
        {name: weight["certificate"] for name, weight in weights.items()},
        {name: weight["due_on"] for name, weight in weights.items()},
    )


def _error(reading, masses):
    return float(_number(reading["indication"]) - sum(masses[name] for name in reading["load"]))


def _number(text):
    return Decimal(text.split()[0])
