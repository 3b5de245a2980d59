"""Two profiles compared for balances of the invented Kestrel Mill Foods."""

from collections.abc import Callable, Sequence
from decimal import Decimal
from typing import Any

import pytest

from weighworthy_service.metrology.instrument import Instrument
from weighworthy_service.profiles.canonical import from_toml
from weighworthy_service.profiles.compare import Compared, compared_settings, unreached
from weighworthy_service.profiles.reading import read_profile
from weighworthy_service.profiles.source import Source

HARBOUR = Instrument(Decimal("0.001"), id="MA-07", site="harbour", capacity=Decimal(60))
VALLEY = Instrument(Decimal("0.01"), id="MA-21", site="valley", capacity=Decimal(100))
Rows = list[dict[str, Any]]


@pytest.fixture
def compare(document: Callable[..., dict[str, Any]]) -> Callable[..., Rows]:
    def run(
        before: Sequence[dict[str, Any]],
        after: Sequence[dict[str, Any]],
        instruments: Sequence[Instrument] = (HARBOUR,),
        **more: Any,
    ) -> Rows:
        sides = (Compared(read_profile(document(*rules))) for rules in (before, after))
        return compared_settings(*sides, instruments, **more)

    return run


def words(rows: Rows) -> dict[tuple[Any, ...], str]:
    return {(row["instrument"], row["name"], row["load"]): row["change"] for row in rows}


def span(**limit: Any) -> dict[str, Any]:
    return {"checks": ["span"], "limits": {"span_error": limit}}


def test_each_balance_for_itself(compare: Callable[..., Rows]) -> None:
    # 4 d are 4 mg on the one and 40 mg on the other; 10 mg lie between.
    rows = compare([span(within="4 d")], [span(within="10 mg")], [HARBOUR, VALLEY])
    assert words(rows) == {
        ("MA-07", "limits.span_error", None): "looser",
        ("MA-21", "limits.span_error", None): "tighter",
    }
    assert [(row["by"], row["percent"]) for row in rows] == [("0.006 g", 150), ("0.03 g", -75)]
    assert [row["upper_limit_before"] for row in rows] == [0.004, 0.04]


def test_typical_loads_and_ends_of_bands(compare: Callable[..., Rows]) -> None:
    bands = {"bands": [{"up_to": "20 g", "within": "2 mg"}, {"up_to": "60 g", "within": "4 mg"}]}
    rows = compare([span(within="2 mg")], [span(**bands)])
    # 5, 20, 50 and 100 % of 60 g; the upper end of a band belongs to it.
    assert {row["load"]: row["change"] for row in rows} == {
        3: "equal",
        12: "equal",
        20: "equal",
        30: "looser",
        60: "looser",
    }


def test_loads_given(compare: Callable[..., Rows]) -> None:
    rows = compare(
        [span(within="2 mg")],
        [span(within="0.01 % of load")],
        loads=[Decimal(10), Decimal(20), Decimal(50)],
    )
    assert {row["load"]: row["change"] for row in rows} == {
        10: "tighter",
        20: "equal",
        50: "looser",
    }


def test_loss_in_counts_of_d_is_compared_in_the_start_window(compare: Callable[..., Rows]) -> None:
    def rule(within: str, target: str) -> dict[str, Any]:
        return {
            "checks": ["simulated-loss"],
            "limits": {"loss_error": {"within": within}},
            "start_window": {"target": target, "allowance": "0.5 g"},
        }

    rows = compare([rule("3 d", "12 g")], [rule("0.025 %", "12 g")])
    # 3 mg of 12 g.
    assert words(rows)["MA-07", "limits.loss_error", 12] == "equal"
    moved = compare([rule("3 d", "12 g")], [rule("3 d", "20 g")])
    assert words(moved)["MA-07", "start_window", None] == "different"


def test_meaning_and_not_text(compare: Callable[..., Rows]) -> None:
    one = [
        {
            "checks": ["span"],
            "limits": {"span_error": {"within": "4 mg"}, "zero_return": {"within": "2 mg"}},
            "decision": {"rule": "simple"},
        }
    ]
    other = [
        span(within="99 mg"),
        {"checks": ["sp*"], "limits": {"zero_return": {"within": "2 d"}}},
        {"sites": ["harbour"], **span(lower="-0.004 g", upper="0.004 g")},
    ]
    rows = compare(one, other)
    assert {row["change"] for row in rows} == {"equal"}
    assert {row["name"] for row in rows} == {
        "decision",
        "limits.span_error",
        "limits.zero_return",
    }


@pytest.mark.parametrize(
    ("before", "after", "name", "word"),
    [
        (
            {"decision": {"rule": "simple"}},
            {"decision": {"rule": "guarded"}},
            "decision",
            "tighter",
        ),
        ({}, {"decision": {"rule": "guarded"}}, "decision", "tighter"),
        ({"decision": {"rule": "guarded"}}, {}, "decision", "looser"),
        # What guarded acceptance fails, the four-way rule may pass on condition; what simple
        # acceptance passes it may pass only on condition, and what that fails not quite fail.
        (
            {"decision": {"rule": "guarded"}},
            {"decision": {"rule": "four-way"}},
            "decision",
            "looser",
        ),
        (
            {"decision": {"rule": "simple"}},
            {"decision": {"rule": "four-way"}},
            "decision",
            "different",
        ),
        (
            {"validity": {"warm_up": {"at_least": "30 min"}}},
            {"validity": {"warm_up": {"at_least": "45 min"}}},
            "validity.warm_up",
            "tighter",
        ),
        (
            {"validity": {"stable": "void"}},
            {"validity": {"stable": "warning"}},
            "validity.stable",
            "looser",
        ),
        ({}, {"validity": {"weights_in_date": "void"}}, "validity.weights_in_date", "new"),
        ({"validity": {"weights_in_date": "void"}}, {}, "validity.weights_in_date", "gone"),
        ({"schedule": {"every": "day"}}, {"schedule": {"every": "week"}}, "schedule", "looser"),
        ({"schedule": {"every": "week"}}, {"schedule": {"every": "24 h"}}, "schedule", "tighter"),
        (
            {"response": [{"step": "repeat", "times": 2}]},
            {"response": [{"step": "repeat", "times": 3}]},
            "response",
            "different",
        ),
        (
            {"weights_correlation": "independent"},
            {"weights_correlation": "worst"},
            "weights_correlation",
            "tighter",
        ),
    ],
)
def test_settings_other_than_limits(compare, before, after, name, word) -> None:
    rows = compare([{"checks": ["span"], **before}], [{"checks": ["span"], **after}])
    assert [(row["name"], row["change"]) for row in rows] == [(name, word)]


def test_start_window_within_another(compare: Callable[..., Rows]) -> None:
    def rule(target: str, allowance: str) -> dict[str, Any]:
        window = {"target": target, "allowance": allowance}
        return {"checks": ["simulated-loss"], "start_window": window}

    def word(*after: str) -> str:
        (row,) = compare([rule("12 g", "0.5 g")], [rule(*after)])
        return row["change"]

    # 11.5 to 12.5 g; 11.8 to 12.4 g lies within, 11.0 to 13.0 g around, 12.0 to 13.0 g beside.
    assert word("12.1 g", "0.3 g") == "tighter"
    assert word("12 g", "1 g") == "looser"
    assert word("12.5 g", "0.5 g") == "different"


def test_stages_appear_where_rules_tell_them_apart(compare: Callable[..., Rows]) -> None:
    after = [span(within="4 mg"), {"stages": ["as-left"], **span(within="2 mg")}]
    rows = compare([span(within="4 mg")], after)
    assert {row["stage"]: row["change"] for row in rows} == {
        "as-found": "equal",
        "as-left": "tighter",
    }


def test_methods_appear_where_they_make_a_difference(compare: Callable[..., Rows]) -> None:
    after = [span(within="4 mg"), {"methods": ["bran-105"], **span(within="2 mg")}]
    rows = compare([span(within="4 mg")], after, methods=["bran-105", "germ-105"])
    assert {row["method"]: row["change"] for row in rows} == {None: "equal", "bran-105": "tighter"}


def test_rules_that_no_balance_reaches_are_named(
    document: Callable[..., dict[str, Any]],
) -> None:
    rules = [span(within="4 mg"), {"sites": ["ridge"], **span(within="2 mg")}]
    side = Compared(read_profile(document(*rules)))
    assert unreached(side, [HARBOUR, VALLEY]) == [
        {"pointer": "/rules/1", "line": None, "document": "kestrel-mill@2026-03"}
    ]


def test_places_have_the_lines_of_a_text() -> None:
    text = """id = "kestrel-mill"
revision = "1"
# a comment
[[rules]]
checks = ["span"]

[rules.limits]
span_error = { within = "4 mg" }
"""
    document = from_toml(text)
    side = Compared(read_profile(document), Source(document, text))
    (row,) = compared_settings(side, side, [HARBOUR])
    assert row["place_before"] == {
        "pointer": "/rules/0/limits/span_error",
        "line": 8,
        "document": "kestrel-mill@1",
    }
