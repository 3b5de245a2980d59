"""How far a check speaks; the bounds are this project's own rule."""

from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

import pytest

from weighworthy_service.logbook.entries import CheckSaid, Entry, Result
from weighworthy_service.logbook.reach import range_findings, reach_of

AT = datetime(2026, 3, 2, 7, tzinfo=UTC)
LOSS = {"loss": 16.0, "expected_loss": 16.0, "initial_mass": 12.0, "basis": "wet"}
ROUNDS = {"rounds": [{"load": 20.0}, {"load": 5.0}]}
POINTS = {"points": [{"load": 2.0}, {"load": 50.0}, {"load": 10.0}]}


def codes(check: str, loss: str | None, mass: str | None, *criteria: Any, results: Any = None):
    said = CheckSaid(check, "pass", True, True, None, False, True, criteria, results or {})
    entry = Entry("C-1", "check", AT, "MA-07", said=said)
    of = Result(
        "R-1",
        "MA-07",
        AT,
        None if loss is None else Decimal(loss),
        None if mass is None else Decimal(mass),
    )
    return [finding.code for finding in range_findings(entry, reach_of(said), of)]


@pytest.mark.parametrize(
    ("loss", "mass", "expected"),
    [
        ("10", "6", []),  # half of 12 g, the end inside
        ("10", "5.999", ["range-not-covered"]),
        ("10", "24", []),
        ("10", "24.001", ["range-not-covered"]),
        ("32", "12", []),  # twice 16 %
        ("32.01", "12", ["range-not-covered"]),
        ("0.1", "12", []),  # a smaller loss is covered
        ("50", "2", ["range-not-covered"]),  # told once
        (None, "12", ["range-unknown"]),
        ("10", None, ["range-unknown"]),
        ("50", None, ["range-not-covered", "range-unknown"]),
    ],
)
def test_a_simulated_loss(loss: str | None, mass: str | None, expected: list[str]) -> None:
    assert codes("simulated-loss", loss, mass, results=LOSS) == expected


@pytest.mark.parametrize(
    ("check", "results", "highest"), [("span", ROUNDS, "20"), ("linearity", POINTS, "50")]
)
def test_loads_up_to_the_highest(check: str, results: dict[str, Any], highest: str) -> None:
    assert codes(check, "99", highest, results=results) == []
    assert codes(check, None, "0.001", results=results) == []
    assert codes(check, "1", f"{highest}.001", results=results) == ["range-not-covered"]
    assert codes(check, "1", None, results=results) == ["range-unknown"]


def test_a_short_answer_tells_what_its_criteria_tell() -> None:
    assert codes("span", "1", "20", {"name": "span_error", "load": 20.0}) == []
    assert codes("span", "1", "21", {"name": "span_error", "load": 20.0}) == ["range-not-covered"]
    # One point of a linearity check is not its highest; a nominal load tells no loss.
    assert codes("linearity", "1", "1", {"name": "point_error", "load": 20.0}) == ["range-unknown"]
    assert codes("simulated-loss", "1", "12", {"load": 12.0}) == ["range-unknown"]
    assert codes("simulated-loss", "1", "60", {"load": 12.0}) == [
        "range-not-covered",
        "range-unknown",
    ]


def test_a_loss_on_dry_basis_covers_what_it_is_on_wet_basis() -> None:
    # 25 % of what is left is 20 % of what was there: up to 40 %.
    dry = {**LOSS, "loss": 25.0, "expected_loss": 25.0, "basis": "dry"}
    assert codes("simulated-loss", "40", "12", results=dry) == []
    assert codes("simulated-loss", "40.1", "12", results=dry) == ["range-not-covered"]
