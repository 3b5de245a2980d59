"""Rules that do nothing, each found for its own reason and none besides."""

import pytest

from weighworthy_service.checks.registry import KINDS
from weighworthy_service.profiles.idle import never_in_force, overruled, unmatched
from weighworthy_service.profiles.reading import read_profile
from weighworthy_service.profiles.store import ProfileSet

SPAN_2, SPAN_3 = ({"limits": {"span_error": {"within": f"{n} mg"}}} for n in (2, 3))
POINT = {"limits": {"point_error": {"within": "2 mg"}}}


def found(idle) -> list[tuple[str, str, tuple[str, ...]]]:
    return [
        (i.rule.origin.pointer, ".".join(i.path), tuple(r.origin.pointer for r in i.overruled_by))
        for i in idle
    ]


@pytest.mark.parametrize(
    ("rules", "expected"),
    [
        ([SPAN_3, SPAN_2], [("/rules/0", "", ("/rules/1",))]),
        ([SPAN_3, {**SPAN_2, "sites": ["harbour"]}], []),
        (
            [{**SPAN_3, "sites": ["harbour"]}, {**SPAN_2, "sites": ["h*", "harbour"]}],
            [("/rules/0", "", ("/rules/1",))],
        ),
        ([{**SPAN_3, "sites": ["h*"]}, {**SPAN_2, "sites": ["harbour"]}], []),
        # A check that states no site comes under the first alone.
        ([SPAN_3, {**SPAN_2, "sites": ["*"]}], []),
        ([{**SPAN_3, "stages": ["as-left"]}, SPAN_2], [("/rules/0", "", ("/rules/1",))]),
        ([SPAN_3, {**SPAN_2, "stages": ["as-left"]}], []),
        # Only one of two settings is overruled.
        (
            [{"limits": {**SPAN_3["limits"], **POINT["limits"]}}, SPAN_2],
            [("/rules/0", "limits.span_error", ("/rules/1",))],
        ),
        # A decision for all checks stands until each kind has another.
        ([{"decision": {"rule": "guarded"}}, {"checks": ["span"], "decision": {}}], []),
        (
            [
                {"decision": {"rule": "guarded"}},
                {"checks": ["span"], "decision": {}},
                {"checks": [k.slug for k in KINDS if k.slug != "span"], "decision": {}},
            ],
            [("/rules/0", "", ("/rules/1", "/rules/2"))],
        ),
        (
            [{"schedule": {"every": "day"}, **SPAN_3}, {"schedule": {"every": "week"}}],
            [("/rules/0", "schedule", ("/rules/1",))],
        ),
    ],
)
def test_overruled(document, rules, expected) -> None:
    assert found(overruled(read_profile(document(*rules)), KINDS)) == expected


def test_a_parent_may_be_overruled(document) -> None:
    base = read_profile(document(SPAN_3))
    child = document(SPAN_2, id="harbour", extends="kestrel-mill@2026-03")
    profile = read_profile(child, ProfileSet.of([base]))
    assert found(overruled(profile, KINDS)) == []


@pytest.mark.parametrize(
    ("selectors", "idle"),
    [
        ({}, False),
        ({"sites": ["harbour"]}, False),
        ({"sites": ["valley"]}, True),
        ({"models": ["K*"]}, False),
        ({"models": ["L*"]}, True),
        ({"instruments": ["MA-01"]}, False),
        ({"instruments": ["MA-02"], "sites": ["harbour"]}, True),
        ({"methods": ["flour"]}, False),
    ],
)
def test_no_balance_comes_under_it(document, at, selectors, idle) -> None:
    profile = read_profile(document({**SPAN_3, **selectors}))
    balances = [at(site="harbour", id="MA-01").instrument, at(model="K3").instrument]
    assert bool(found(unmatched(profile, balances))) is idle


def test_never_in_force_for_these_balances(document, at) -> None:
    """No later rule covers the first one, but for the one balance each setting has another."""
    profile = read_profile(
        document(
            SPAN_3,
            {**SPAN_2, "sites": ["harbour"]},
            {**SPAN_2, "methods": ["flour"]},
        )
    )
    assert found(never_in_force(profile, KINDS, [at(site="harbour")])) == [("/rules/0", "", ())]
    assert found(never_in_force(profile, KINDS, [at(site="harbour"), at()])) == []
    of_flour = [at("flour", site="harbour")]
    assert [p for p, *_ in found(never_in_force(profile, KINDS, of_flour))] == [
        "/rules/0",
        "/rules/1",
    ]
