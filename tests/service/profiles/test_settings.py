from collections.abc import Callable
from typing import Any

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.registry import BY_SLUG, KINDS
from weighworthy_service.profiles.reading import read_profile
from weighworthy_service.profiles.settings import written_settings

SPAN, LINEARITY, LOSS = KINDS[:3]


def test_last_matching_rule_wins_each_setting_whole(
    document: Callable[..., dict[str, Any]], at: Callable[..., Circumstances]
) -> None:
    profile = read_profile(
        document(
            {
                "schedule": {"every": "day", "grace": "2 h"},
                "response": [{"step": "service"}],
                "limits": {"span_error": {"within": "2 mg"}, "loss_error": {"within": "0.04 %"}},
            },
            {"sites": ["harbour"], "schedule": {"every": "week"}},
            {"sites": ["valley"], "response": [{"step": "repeat"}]},
            use_on=["pass"],
        )
    )
    found = written_settings(profile, SPAN, None, at(site="harbour"))
    # The week replaces the whole schedule, grace included; limits of other checks are not there.
    assert {name: setting.form for name, setting in found.items()} == {
        "use_on": ["pass"],
        "schedule": {"every": "week"},
        "response": [{"step": "service"}],
        "limits.span_error": {"within": "2 mg"},
    }
    assert found["schedule"].rule is profile.rules[1]
    assert found["use_on"].rule is None


def test_settings_of_one_kind_of_check_are_of_no_other(
    document: Callable[..., dict[str, Any]], at: Callable[..., Circumstances]
) -> None:
    rule = {
        "start_window": {"target": "12 g", "allowance": "1 g"},
        "validity": {
            "points": {"at_least": 3},
            "rounds": {"at_least": 2},
            "set_points": {"at_least": 1},
            "stable": "void",
        },
    }
    profile = read_profile(document(rule))
    names = {
        kind.slug: set(written_settings(profile, kind, None, at())) - {"use_on"}
        for kind in (SPAN, LINEARITY, LOSS, BY_SLUG["heater"])
    }
    assert names == {
        "span": {"validity.rounds", "validity.stable"},
        "linearity": {"validity.points", "validity.stable"},
        "simulated-loss": {"start_window", "validity.stable"},
        "heater": {"validity.set_points", "validity.stable"},
    }
