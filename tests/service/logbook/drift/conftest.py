"""Entries of an invented balance, as brief as tests need them."""

from collections.abc import Callable, Sequence
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace
from typing import Any

import pytest

from weighworthy_service.logbook.drift.series import Point
from weighworthy_service.logbook.entries import CheckSaid, Entry

START = datetime(2026, 1, 5, 6, 0, tzinfo=UTC)
LIMITS = {"lower_limit": -0.005, "upper_limit": 0.005, "expanded_uncertainty": 0.0016}


def at(days: float) -> datetime:
    return START + timedelta(days=days)


def make_said(check: str = "span", **fields: Any) -> CheckSaid:
    whole: dict[str, Any] = {
        "verdict": "pass",
        "usable": True,
        "lets_use_as_found": True,
        "would_let_use": None,
        "adjusted": False,
        "trusted": False,
    }
    return CheckSaid(check, **{**whole, **fields})


def make_check(id_: str, days: float, said: CheckSaid) -> Entry:
    return Entry(id_, "check", at(days), "MA-07", said=said)


def make_event(id_: str, kind: str, days: float) -> Entry:
    return Entry(id_, kind, at(days), "MA-07")


def make_round(
    value: float | None, load: float = 20.0, stage: str = "as-found", **fields: Any
) -> dict[str, Any]:
    """A criterion of a span check in its JSON form; g."""
    whole = {"name": "span_error", "stage": stage, "load": load, "value": value, "unit": "g"}
    return {**whole, **LIMITS, **fields}


def make_span(id_: str, days: float, value: float, **fields: Any) -> Entry:
    """A span check of one round at 20 g."""
    return make_check(id_, days, make_said(criteria=(make_round(value),), **fields))


def make_spans(values: Sequence[float], every: float = 1.0, start: float = 0.0) -> list[Entry]:
    return [make_span(f"s{i}", start + i * every, value) for i, value in enumerate(values)]


def make_points(
    values: Sequence[float], days: Sequence[float] | None = None, **fields: Any
) -> list[Point]:
    places = range(len(values)) if days is None else days
    limits = {**LIMITS, **fields}
    return [
        Point(f"s{i}", at(day), value, **limits)
        for i, (value, day) in enumerate(zip(values, places, strict=True))
    ]


@pytest.fixture(scope="session")
def make() -> SimpleNamespace:
    """The builders above."""
    builders: dict[str, Callable[..., Any]] = {
        name.removeprefix("make_"): value
        for name, value in globals().items()
        if name.startswith("make_")
    }
    return SimpleNamespace(at=at, **builders)
