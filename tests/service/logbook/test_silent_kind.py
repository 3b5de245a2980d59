"""What a logbook makes of a kind of check that says nothing of itself beyond its criteria."""

import sys
from dataclasses import replace
from datetime import UTC, datetime
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from weighworthy_service.checks.as_found import of_single_values
from weighworthy_service.checks.faults import of_bias, of_zero
from weighworthy_service.checks.reach import Reach
from weighworthy_service.checks.registry import BY_SLUG
from weighworthy_service.logbook.drift.as_found import as_found
from weighworthy_service.logbook.entries import CheckSaid, Entry, Result
from weighworthy_service.logbook.needs import crossing
from weighworthy_service.logbook.reach import range_findings, reach_of
from weighworthy_service.logbook.shift import faults_of, shifts
from weighworthy_service.logbook.signals.equal_readings import equal_readings
from weighworthy_service.metrology.instrument import Instrument

AT = datetime(2026, 3, 2, 7, tzinfo=UTC)
WARM = {"key": "warmth", "name": "warmth", "unit": "K", "verdict": "fail", "value": 3.0}
RESULT = Result("R-1", "MA-07", AT, Decimal("15.70"), Decimal(2), None, None, Decimal(16))


@pytest.fixture
def silent(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    """A kind whose folder has none of the optional modules."""
    (tmp_path / "kind_without_parts").mkdir()
    (tmp_path / "kind_without_parts" / "__init__.py").touch()
    monkeypatch.syspath_prepend(tmp_path)
    monkeypatch.delitem(sys.modules, "kind_without_parts", raising=False)
    kind = replace(BY_SLUG["span"], slug="warmth", package="kind_without_parts")
    monkeypatch.setitem(BY_SLUG, "warmth", kind)
    return kind.slug


def said(check: str, *criteria: dict[str, Any], **results: Any) -> CheckSaid:
    return CheckSaid(check, "fail", False, False, None, False, True, criteria, results)


def test_what_its_error_does_is_not_known_and_told(silent: str) -> None:
    (shift,) = shifts("C-1", faults_of(said(silent, WARM), before=True), RESULT)
    assert (shift.value, shift.fault, shift.criterion) == (None, "not-told", "warmth")
    assert "does not tell what its error does" in shift.sentence
    assert "for a person to decide" in shift.sentence
    # Nothing excludes that it crossed the limit.
    assert crossing(RESULT, [shift]) == "unknown"


def test_whether_it_covers_a_result_stays_open(silent: str) -> None:
    entry = Entry("C-1", "check", AT, "MA-07", said=said(silent, {"load": 20.0}))
    assert entry.said is not None
    (finding,) = range_findings(entry, reach_of(entry.said), RESULT)
    assert (finding.code, finding.severity) == ("range-unknown", "note")
    assert "warmth check C-1 does not tell" in finding.message


def test_masses_may_be_no_matter() -> None:
    entry = Entry("C-1", "check", AT, "MA-07", said=said("span"))
    assert [*range_findings(entry, Reach(any_loss=True, any_mass=True), RESULT)] == []
    some = Reach(most_loss=Fraction(10), any_mass=True)
    assert [f.code for f in range_findings(entry, some, RESULT)] == ["range-not-covered"]


def test_what_has_one_value_is_followed_by_its_name(silent: str) -> None:
    twice = {"name": "spread", "unit": "K", "value": 1.0}
    left = {**WARM, "value": 0.1, "stage": "as-left"}
    (found,) = as_found(said(silent, WARM, left, twice, twice))
    assert (found.criterion, found.unit, found.value) == ("warmth", "K", 3.0)
    assert found.load is None
    # Nothing says that it rests on weights, so it must never speak against them.
    assert not found.of_weights


@pytest.mark.parametrize("strange", [{}, {"name": 3}, {"name": "a", "value": "3", "unit": "g"}])
def test_a_trusted_answer_may_hold_anything(strange: dict[str, Any]) -> None:
    assert [*of_single_values([strange])] == []


def test_its_equal_figures_prove_nothing(silent: str) -> None:
    balance = Instrument(scale_interval=Decimal("0.001"), repeatability=Decimal("0.001"))
    # The same, of a kind that tells that each rests on one reading, is looked at.
    same = {"name": "span_error", "load": 20.0, "value": 0.003, "stage": "as-found"}

    def log(check: str) -> dict[str, list[Entry]]:
        entry = Entry("C-1", "check", AT, "MA-07", said=said(check, same))
        return {"MA-07": [entry._replace(id=f"C-{i}") for i in range(5)]}

    assert equal_readings(log("span"), {"MA-07": balance}) != ()
    assert equal_readings(log(silent), {"MA-07": balance}) == ()


def test_an_error_of_the_loss_itself_shifts_every_loss_by_as_much() -> None:
    criterion = {"key": "bias", "name": "bias", "value": 0.12, "expanded_uncertainty": 0.05}
    (shift,) = shifts("C-1", [of_bias("process", criterion, "So.")], RESULT)
    assert (shift.value, shift.expanded_uncertainty) == (Fraction("0.12"), Decimal("0.050"))
    # 15.70 - 0.12, give or take 0.05.
    assert (shift.corrected, shift.corrected_lower) == (Fraction("15.58"), Fraction("15.53"))
    unknown = of_bias("process", {"key": "bias"}, "So.")
    assert shifts("C-1", [unknown], RESULT)[0].value is None


def test_a_zero_that_moved_through_a_hot_run() -> None:
    # -100 · (-0.004 g)/2 g = 0.2: a zero that fell by 4 mg reads as moisture.
    criterion = {"key": "zero_change", "value": -0.004, "expanded_uncertainty": 0.001}
    (shift,) = shifts("C-1", [of_zero("hot-zero", criterion, "So.", None)], RESULT)
    assert (shift.value, shift.expanded_uncertainty) == (Fraction("0.2"), Decimal("0.050"))
