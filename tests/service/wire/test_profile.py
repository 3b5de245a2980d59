from datetime import date
from decimal import Decimal

import pytest
from jsonschema import Draft202012Validator
from marshmallow import ValidationError

from weighworthy_service.checks.terms import SEVERITIES
from weighworthy_service.metrology.limits import Amount
from weighworthy_service.wire import profile as form
from weighworthy_service.wire.coded import field_errors
from weighworthy_service.wire.profile import ProfileSchema

SCHEMA = ProfileSchema()
MINIMAL = {"id": "kestrel-mill", "revision": "2026-03", "rules": [{}]}

WHOLE = {
    "id": "kestrel-mill",
    "revision": "2026-03",
    "title": "Bran and flour",
    "description": "For both sites.",
    "extends": "base@2026-01",
    "effective_from": "2026-03-01",
    "effective_to": "2027-02-28",
    "approved_by": "R. Falk",
    "use_on": ["pass"],
    "rules": [
        {
            "checks": ["span"],
            "sites": ["harbour", "val*"],
            "models": ["K-*"],
            "instruments": ["MA-07"],
            "methods": ["bran"],
            "stages": ["as-left"],
            "limits": {
                "span_error": {"within": "1.50 mg", "when_present": True, "source": "ours"},
                "zero_return": {"lower": "-1 d", "upper": "2 d"},
                "span_agreement": {"smaller_of": [{"within": "2 d"}, {"within": "1 mg"}]},
                "point_error": {
                    "bands": [
                        {"up_to": "5000 e", "larger_of": [{"upper": "1 e"}, {"lower": "0 g"}]}
                    ]
                },
            },
            "start_window": {"target": "12 g", "allowance": "500 mg", "else": "warning"},
            "decision": {
                "rule": "four-way",
                "guard_factor": "1",
                "coverage": "95.45 %",
                "rounding": "absolute",
                "rounding_to": "0.01 %",
            },
            "validity": {
                "warm_up": {"at_least": "20 min", "else": "void"},
                "rounds": {"at_least": 2, "else": "no-pass"},
                "points": {"at_least": 5, "else": "note"},
                "weights_in_date": "void",
                "weights_in_class": "warning",
                "stable": "void",
                "weights_at_most": {"share": "1/3 of limit", "else": "warning"},
                "uncertainty_within_tolerance": "no-pass",
            },
            "weights_correlation": "worst",
            "schedule": {"every": "day", "at": "first-use", "grace": "4 h", "after": ["moved"]},
            "response": [{"step": "repeat", "times": 2}, {"step": "out-of-service"}],
            "loosens": "agreed",
        }
    ],
}


def errors(document):
    try:
        SCHEMA.load(document)
    except ValidationError as error:
        return [(found.pointer, found.code) for found in field_errors(error.messages)]
    return []


def rule(**members):
    return {**MINIMAL, "rules": [members]}


def test_a_whole_document_is_read_exactly():
    read = SCHEMA.load(WHOLE)
    assert (read["effective_from"], read["effective_to"]) == (date(2026, 3, 1), date(2027, 2, 28))
    (first,) = read["rules"]
    assert first["sites"] == ("harbour", "val*")
    assert str(first["limits"]["span_error"]["within"]) == "1.50 mg"
    assert first["limits"]["zero_return"]["lower"] == Amount(Decimal(-1), "d")
    assert first["start_window"] == {
        "target": Decimal(12),
        "allowance": Decimal("0.5"),
        "otherwise": "warning",
    }
    assert first["decision"]["rounding_to"] == Amount(Decimal("0.01"), "%")
    assert first["validity"]["warm_up"] == {"at_least": Decimal(1200), "otherwise": "void"}
    assert first["validity"]["weights_at_most"] == {"share": (1, 3), "otherwise": "warning"}
    assert first["schedule"] == {
        "every": "day",
        "at": "first-use",
        "grace": Decimal(14400),
        "after": ("moved",),
    }
    assert first["response"][1] == {"step": "out-of-service"}


def test_null_is_absence():
    nulls = rule(sites=None, limits={"span_error": None}, validity={"warm_up": None}, decision=None)
    assert SCHEMA.load({**nulls, "title": None, "extends": None}) == {
        **MINIMAL,
        "rules": ({"limits": {}, "validity": {}},),
    }


def test_id_revision_and_rules_are_needed():
    assert errors({}) == [("/id", "required"), ("/revision", "required"), ("/rules", "required")]


@pytest.mark.parametrize(
    ("document", "pointer", "hint"),
    [
        ({**MINIMAL, "aproved_by": "x"}, "/aproved_by", "approved_by"),
        (rule(limit={}), "/rules/0/limit", "limits"),
        (
            rule(limits={"span_error": {"witin": "1 d"}}),
            "/rules/0/limits/span_error/witin",
            "within",
        ),
        (rule(decision={"guard_faktor": "1"}), "/rules/0/decision/guard_faktor", "guard_factor"),
        (
            rule(validity={"warmup": {"at_least": "1 h"}}),
            "/rules/0/validity/warmup",
            "warm_up",
        ),
        (
            rule(validity={"warm_up": {"at_least": "1 h", "els": "void"}}),
            "/rules/0/validity/warm_up/els",
            "else",
        ),
        (rule(schedule={"evry": "day"}), "/rules/0/schedule/evry", "every"),
        (rule(response=[{"stp": "adjust"}]), "/rules/0/response/0/stp", "step"),
        (
            rule(limits={"span_error": {"larger_of": [{"with": "1 d"}, {"within": "1 d"}]}}),
            "/rules/0/limits/span_error/larger_of/0/with",
            "within",
        ),
    ],
)
def test_an_unknown_key_is_refused_with_the_nearest_known_one(document, pointer, hint):
    with pytest.raises(ValidationError) as caught:
        SCHEMA.load(document)
    found = {error.pointer: error for error in field_errors(caught.value.messages)}[pointer]
    assert found.code == "unknown-field"
    assert f'did you mean "{hint}"?' in found.detail


@pytest.mark.parametrize(
    "limit",
    [
        {"bands": [{"up_to": "9 g", "bands": []}]},
        {"smaller_of": [{"larger_of": []}, {"within": "1 d"}]},
        {"smaller_of": [{"source": "x"}, {"within": "1 d"}]},
        {"bands": [{"up_to": "9 g", "within": "1 d", "when_present": True}]},
    ],
)
def test_parts_of_a_limit_are_plainer_than_the_limit(limit):
    assert [code for _, code in errors(rule(limits={"span_error": limit}))] == ["unknown-field"]


@pytest.mark.parametrize(
    ("members", "pointer", "code"),
    [
        ({"limits": {"x": {"within": 1.5}}}, "/limits/x/within", "unit-missing"),
        ({"limits": {"x": {"within": "1.5"}}}, "/limits/x/within", "unit-missing"),
        ({"limits": {"x": {"within": "1,5 mg"}}}, "/limits/x/within", "decimal-comma"),
        ({"limits": {"x": {"within": "2 divisions"}}}, "/limits/x/within", "unit-not-taken"),
        ({"limits": {"x": {"within": "5 hPa"}}}, "/limits/x/within", "unit-not-taken"),
        ({"limits": {"x": {"within": True}}}, "/limits/x/within", "wrong-type"),
        ({"limits": {"x": "1.5 mg"}}, "/limits/x", "wrong-type"),
        ({"limits": {"x": {"smaller_of": [{"within": "1 d"}]}}}, "/limits/x/smaller_of", "too-few"),
        ({"limits": {"x": {"bands": []}}}, "/limits/x/bands", "too-few"),
        ({"limits": {"x": {"bands": [{"within": "1 d"}]}}}, "/limits/x/bands/0/up_to", "required"),
        ({"limits": {"x": {"when_present": "yes"}}}, "/limits/x/when_present", "wrong-type"),
        ({"sites": "harbour"}, "/sites", "wrong-type"),
        ({"sites": []}, "/sites", "too-few"),
        ({"sites": [7]}, "/sites/0", "wrong-type"),
        ({"start_window": {"allowance": "1 g"}}, "/start_window/target", "required"),
        (
            {"start_window": {"target": "0 g", "allowance": "1 g"}},
            "/start_window/target",
            "out-of-range",
        ),
        ({"decision": {"rule": "guard"}}, "/decision/rule", "not-one-of"),
        ({"decision": {"guard_factor": 1}}, "/decision/guard_factor", "wrong-type"),
        ({"decision": {"guard_factor": "0"}}, "/decision/guard_factor", "out-of-range"),
        ({"decision": {"coverage": "0.95"}}, "/decision/coverage", "unit-missing"),
        ({"validity": {"stable": "fail"}}, "/validity/stable", "not-one-of"),
        (
            {"validity": {"warm_up": {"at_least": "0 min"}}},
            "/validity/warm_up/at_least",
            "out-of-range",
        ),
        ({"validity": {"points": {"at_least": "5"}}}, "/validity/points/at_least", "wrong-type"),
        ({"validity": {"points": {"at_least": 0}}}, "/validity/points/at_least", "out-of-range"),
        ({"validity": {"rounds": {}}}, "/validity/rounds/at_least", "required"),
        ({"validity": {"weights_at_most": "1/3"}}, "/validity/weights_at_most", "malformed-text"),
        (
            {"validity": {"weights_at_most": "0/3 of limit"}},
            "/validity/weights_at_most",
            "malformed-text",
        ),
        (
            {"validity": {"weights_at_most": "1/0 of limit"}},
            "/validity/weights_at_most",
            "malformed-text",
        ),
        ({"validity": {"weights_at_most": 3}}, "/validity/weights_at_most", "wrong-type"),
        (
            {"validity": {"weights_at_most": {"else": "note"}}},
            "/validity/weights_at_most/share",
            "required",
        ),
        ({"weights_correlation": "full"}, "/weights_correlation", "not-one-of"),
        ({"schedule": {"every": "shift"}}, "/schedule/every", "number-malformed"),
        ({"schedule": {"every": "0 h"}}, "/schedule/every", "out-of-range"),
        ({"schedule": {"every": 24}}, "/schedule/every", "unit-missing"),
        ({"schedule": {"at": "noon"}}, "/schedule/at", "not-one-of"),
        ({"response": []}, "/response", "too-few"),
        ({"response": [{"step": "pray"}]}, "/response/0/step", "not-one-of"),
        ({"response": [{"step": "adjust", "times": 0}]}, "/response/0/times", "out-of-range"),
    ],
)
def test_faults_in_a_rule_are_pointed_at(members, pointer, code):
    assert errors(rule(**members)) == [(f"/rules/0{pointer}", code)]


@pytest.mark.parametrize(
    ("member", "value", "code"),
    [
        ("id", "Kestrel", "malformed-text"),
        ("id", "-kestrel", "malformed-text"),
        ("id", "kestrel@1", "malformed-text"),
        ("id", "k" * 65, "too-long"),
        ("id", None, "required"),
        ("revision", "2026/03", "malformed-text"),
        ("revision", "r" * 33, "too-long"),
        ("revision", 3, "wrong-type"),
        ("effective_from", "01.03.2026", "malformed-date"),
        ("effective_from", "2026-02-30", "malformed-date"),
        ("extends", 3, "wrong-type"),
        ("extends", "Base", "malformed-text"),
        ("use_on", [], "too-few"),
        ("use_on", "pass", "wrong-type"),
        ("rules", [], "too-few"),
        ("rules", {}, "wrong-type"),
        ("rules", [{}] * 201, "too-many"),
        ("title", "t" * 201, "too-long"),
    ],
)
def test_faults_in_the_head_are_pointed_at(member, value, code):
    assert errors({**MINIMAL, member: value}) == [(f"/{member}", code)]


def test_all_faults_come_at_once():
    document = {**rule(sites=[1, 2], limits={"x": {"within": 1, "upper": "2"}}), "id": "K"}
    assert {pointer for pointer, _ in errors(document)} == {
        "/id",
        "/rules/0/sites/0",
        "/rules/0/sites/1",
        "/rules/0/limits/x/within",
        "/rules/0/limits/x/upper",
    }


@pytest.mark.parametrize("share", ["1/3 of limit", {"share": "1/3 of limit"}])
def test_a_share_may_be_written_short_or_long(share):
    read = SCHEMA.load(rule(validity={"weights_at_most": share}))
    assert read["rules"][0]["validity"]["weights_at_most"] == {"share": (1, 3)}


@pytest.mark.parametrize("every", ["day", "week", "month", "year", "24 h", "90 min"])
def test_a_schedule_takes_calendar_periods_and_times(every):
    assert SCHEMA.load(rule(schedule={"every": every}))["rules"][0]["schedule"] == {"every": every}


@pytest.mark.parametrize("document", [[], "x", 3, None])
def test_a_profile_is_an_object(document):
    assert errors(document) == [("", "wrong-type")]


def test_severities_are_those_of_the_checks():
    # This layer must not import the checks, so the words stand twice.
    assert form._SEVERITIES == SEVERITIES


@pytest.mark.parametrize(
    "field", [form.AmountOf(), form.Share(), form.Period(), form.WeightShareOf()]
)
@pytest.mark.parametrize(
    "probe",
    [
        "1.5 mg",
        "-2 d",
        "0.1 % of load",
        "0.1 % of capacity",
        "5e3 mg",
        "1.5",
        "d",
        "24 h",
        "0 h",
        "-1 h",
        "day",
        "Day",
        "1/3 of limit",
        "1/3 of  limit",
        "01/3 of limit",
        "1000/3 of limit",
        {"share": "1/3 of limit"},
        {"share": "1/3 of limit", "else": None},
        {"share": "1/3 of limit", "else": "note"},
        {"share": "1/3 of limit", "else": "fail"},
        {"share": "1/3 of limit", "or": "note"},
        {"share": None},
        {},
        "",
        1,
        True,
        [],
    ],
)
def test_what_is_published_of_a_field_is_what_it_takes(field, probe):
    try:
        field.deserialize(probe)
        taken = True
    except ValidationError:
        taken = False
    assert Draft202012Validator(field.keywords()).is_valid(probe) is taken
