from decimal import Decimal

import pytest

from weighworthy_service.checks.terms import AtLeast, Decision, StartWindow, WeightShare
from weighworthy_service.metrology.limits import Amount, Band, Limit
from weighworthy_service.profiles.document import matches
from weighworthy_service.profiles.reading import read_profile


@pytest.fixture
def rule(document):
    return lambda form: read_profile(document(form)).rules[0]


def test_a_whole_rule_becomes_what_it_says(rule):
    read = rule(
        {
            "checks": ["simulated-loss"],
            "sites": ["harbour"],
            "models": ["K-*"],
            "instruments": ["MA-07"],
            "methods": ["bran"],
            "limits": {"loss_error": {"within": "0.050 %", "when_present": True, "source": "ours"}},
            "start_window": {"target": "12 g", "allowance": "500 mg", "else": "warning"},
            "decision": {"rule": "guarded", "guard_factor": "0.8", "coverage": "99 %"},
            "validity": {"stable": "note"},
            "weights_correlation": "worst",
            "schedule": {"every": "24 h", "at": "first-use", "grace": "4 h"},
            "response": [{"step": "repeat", "times": 2}, {"step": "out-of-service"}],
            "loosens": "bran needs no more",
        }
    )
    assert (read.checks, read.sites) == (("simulated-loss",), ("harbour",))
    assert (read.models, read.instruments, read.methods) == (("K-*",), ("MA-07",), ("bran",))
    assert read.stages is None
    in_force = read.limits["loss_error"]
    assert in_force.limit == Limit(
        within=Amount(Decimal("0.050"), "%"), when_present=True, source="ours"
    )
    assert in_force.place == "kestrel-mill@2026-03 /rules/0/limits/loss_error"
    assert read.start_window == StartWindow(Decimal(12), Decimal("0.5"), "warning")
    assert read.decision == Decision("guarded", Decimal("0.8"), Decimal(99))
    assert read.validity == {"stable": "note"}
    assert read.weights_correlation == "worst"


def test_limits_keep_their_form_and_their_digits(rule):
    limits = rule(
        {
            "limits": {
                "span_error": {"lower": "-1.0 mg", "upper": "2 d"},
                "zero_return": {"smaller_of": [{"within": "2 d"}, {"upper": "1 mg"}]},
                "point_error": {
                    "bands": [
                        {"up_to": "5000 e", "within": "0.5 e"},
                        {"up_to": "100 g", "larger_of": [{"within": "1 e"}, {"within": "1 mg"}]},
                    ]
                },
            }
        }
    ).limits
    one_mg = Amount(Decimal(1), "mg")
    assert str(limits["span_error"].limit.lower) == "-1.0 mg"
    assert limits["span_error"].limit.upper == Amount(Decimal(2), "d")
    assert limits["zero_return"].limit.smaller_of == (
        Limit(within=Amount(Decimal(2), "d")),
        Limit(upper=one_mg),
    )
    assert limits["point_error"].limit.bands == (
        Band(Amount(Decimal(5000), "e"), Limit(within=Amount(Decimal("0.5"), "e"))),
        Band(
            Amount(Decimal(100), "g"),
            Limit(larger_of=(Limit(within=Amount(Decimal(1), "e")), Limit(within=one_mg))),
        ),
    )


def test_requirements_say_what_lacking_them_means(rule):
    stated = rule(
        {
            "validity": {
                "warm_up": {"at_least": "20 min", "else": "no-pass"},
                "rounds": {"at_least": 2, "else": "void"},
                "points": {"at_least": 5, "else": "warning"},
                "weights_at_most": {"share": "2/5 of limit", "else": "note"},
                "uncertainty_within_tolerance": "void",
            }
        }
    ).validity
    assert stated == {
        "warm_up": AtLeast(Decimal(1200), "no-pass"),
        "rounds": AtLeast(Decimal(2), "void"),
        "points": AtLeast(Decimal(5), "warning"),
        "weights_at_most": WeightShare(2, 5, "note"),
        "uncertainty_within_tolerance": "void",
    }


def test_requirements_that_do_not_say_so_have_a_cautious_meaning(rule):
    read = rule(
        {
            "validity": {
                "warm_up": {"at_least": "20 min"},
                "rounds": {"at_least": 2},
                "points": {"at_least": 5},
                "weights_at_most": "1/3 of limit",
            },
            "start_window": {"target": "12 g", "allowance": "0 g"},
        }
    )
    assert read.validity == {
        "warm_up": AtLeast(Decimal(1200), "void"),
        "rounds": AtLeast(Decimal(2), "no-pass"),
        "points": AtLeast(Decimal(5), "no-pass"),
        "weights_at_most": WeightShare(1, 3, "void"),
    }
    assert read.start_window == StartWindow(Decimal(12), Decimal(0), "void")


@pytest.mark.parametrize(
    ("written", "step", "unit"),
    [("0.01 %", "0.01", "%"), ("0.1 mg", "0.0001", "g"), ("1 g", "1", "g")],
)
def test_the_rounding_step_is_kept_in_the_base_unit(rule, written, step, unit):
    read = rule({"decision": {"rounding": "rounding", "rounding_to": written}})
    assert read.decision == Decision(rounding="rounding", rounding_to=Decimal(step))
    assert read.rounding_unit == unit


def test_use_rests_on_pass_and_conditional_pass_unless_said(document):
    assert read_profile(document()).use_on == ("pass", "conditional-pass")
    assert read_profile(document(use_on=["pass"])).use_on == ("pass",)


@pytest.mark.parametrize(
    ("patterns", "value", "fits"),
    [
        (None, None, True),
        (None, "harbour", True),
        (("harbour",), "harbour", True),
        (("harbour",), "Harbour", False),
        (("HARB*",), "harbour", False),
        (("harb*",), "harbour", True),
        (("MA-?7",), "MA-07", True),
        (("MA-[0-4]*",), "MA-07", True),
        (("MA-[!0]*",), "MA-07", False),
        (("valley", "harbour"), "harbour", True),
        (("*",), None, False),
        (("*",), "", True),
        (("a/*",), "a/b", True),
    ],
)
def test_patterns_are_case_sensitive_and_never_fit_what_is_not_stated(patterns, value, fits):
    assert matches(patterns, value) is fits
