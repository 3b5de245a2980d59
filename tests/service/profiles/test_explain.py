"""Who wins a setting, and who lost."""

from decimal import Decimal
from fractions import Fraction

import pytest

from weighworthy_service.checks.registry import KINDS
from weighworthy_service.profiles.explain import Setting, explain
from weighworthy_service.profiles.reading import read_profile
from weighworthy_service.profiles.resolve import terms_for

SPAN, LINEARITY, LOSS = KINDS[:3]


def named(settings, name: str) -> Setting:
    return next(s for s in settings if s.name == name)


def places(settings, name: str) -> tuple[str, list[str]]:
    setting = named(settings, name)
    return setting.winner.rule.origin.pointer, [c.rule.origin.pointer for c in setting.lost]


def test_the_last_rule_that_applies_wins_whole(document, at) -> None:
    profile = read_profile(
        document(
            {"limits": {"span_error": {"within": "3 mg", "source": "a"}}},
            {"sites": ["harbour"], "limits": {"span_error": {"within": "2 mg"}}},
            {"sites": ["valley"], "limits": {"span_error": {"within": "1 mg"}}},
            {"checks": ["span"], "limits": {"span_error": {"lower": "-1 mg"}}, "models": ["M*"]},
        )
    )
    settings = explain(profile, SPAN, None, at(site="harbour"))
    assert places(settings, "limits.span_error") == ("/rules/1", ["/rules/0"])
    assert named(settings, "limits.span_error").winner.value == {"within": "2 mg"}
    settings = explain(profile, SPAN, None, at(site="harbour", model="M2"))
    assert places(settings, "limits.span_error") == ("/rules/3", ["/rules/1", "/rules/0"])
    assert [s.name for s in explain(profile, LOSS, None, at())] == ["use_on"]


def test_settings_of_every_sort(document, at) -> None:
    rule = {
        "limits": {"loss_error": {"within": "0.05 %"}, "span_error": {"within": "1 d"}},
        "start_window": {"target": "12 g", "allowance": "0.5 g"},
        "decision": {"rule": "guarded"},
        "validity": {"stable": "void", "warm_up": {"at_least": "30 min"}},
        "schedule": {"every": "day"},
        "response": [{"step": "repeat", "times": 2}],
        "weights_correlation": "worst",
    }
    profile = read_profile(document(rule))
    of_loss = {s.name: s.winner.value for s in explain(profile, LOSS, None, at())}
    assert of_loss == {
        "decision": {"rule": "guarded"},
        "limits.loss_error": {"within": "0.05 %"},
        "response": [{"step": "repeat", "times": 2}],
        "schedule": {"every": "day"},
        "start_window": {"target": "12 g", "allowance": "0.5 g"},
        "use_on": ["pass", "conditional-pass"],
        "validity.stable": "void",
        "validity.warm_up": {"at_least": "30 min"},
        "weights_correlation": "worst",
    }
    # A span check knows no start window, and has its own limit.
    of_span = {s.name for s in explain(profile, SPAN, None, at())}
    assert of_span == (set(of_loss) - {"limits.loss_error", "start_window"}) | {"limits.span_error"}


def test_stages_and_methods(document, at) -> None:
    profile = read_profile(
        document(
            {"limits": {"span_error": {"within": "3 mg"}}},
            {"stages": ["as-left"], "limits": {"span_error": {"within": "2 mg"}}},
            {"methods": ["flour-*"], "limits": {"span_error": {"within": "1 mg"}}},
        )
    )

    def winner(stage, method) -> str:
        return places(explain(profile, SPAN, stage, at(method)), "limits.span_error")[0]

    assert winner(None, None) == "/rules/0"
    assert winner("as-found", None) == "/rules/0"
    assert winner("as-left", None) == "/rules/1"
    assert winner("as-left", "flour-2") == "/rules/2"


@pytest.mark.parametrize(
    ("form", "load", "interval"),
    [
        ({"within": "2 d"}, None, ("-0.002", "0.002")),
        ({"lower": "-1 mg", "upper": "3 mg"}, None, ("-0.001", "0.003")),
        ({"within": "0.10 % of load"}, "50", ("-0.05", "0.05")),
        ({"within": "0.10 % of load"}, None, None),
        ({"within": "1 e"}, "50", None),
        ({"bands": [{"up_to": "20 g", "within": "1 mg"}]}, "20", ("-0.001", "0.001")),
        ({"bands": [{"up_to": "20 g", "within": "1 mg"}]}, "20.1", None),
    ],
)
def test_limits_in_figures(document, at, form, load, interval) -> None:
    profile = read_profile(document({"checks": ["span"], "limits": {"span_error": form}}))
    settings = explain(profile, SPAN, None, at(), load and Decimal(load))
    found = named(settings, "limits.span_error").interval
    got = None if found is None else (found.lower, found.upper)
    assert got == (interval and tuple(map(Fraction, interval)))


def test_the_winners_are_those_that_judge(document, at) -> None:
    """What is explained is what `terms_for` takes."""
    rules = [
        {"limits": {"span_error": {"within": "3 mg"}, "zero_return": {"within": "1 mg"}}},
        {"sites": ["h*"], "limits": {"span_error": {"within": "2 mg"}}},
        {"instruments": ["MA-0?"], "limits": {"zero_return": {"upper": "2 mg"}}},
        {"checks": ["linearity"], "limits": {"hysteresis": {"within": "2 mg"}}},
    ]
    profile = read_profile(document(*rules))
    for kind in (SPAN, LINEARITY):
        for circumstances in (at(), at(site="harbour"), at(site="valley", id="MA-07")):
            terms = terms_for(profile, kind.slug, circumstances)
            explained = {
                s.name.removeprefix("limits."): s.winner.rule
                for s in explain(profile, kind, None, circumstances)
                if s.name.startswith("limits.")
            }
            assert set(explained) == set(terms.limits)
            for name, rule in explained.items():
                assert rule.limits[name] is terms.limits[name]
