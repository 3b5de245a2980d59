import pytest

from weighworthy_service.checks.outcome import CriterionName
from weighworthy_service.metrology.limits import read_amount
from weighworthy_service.profiles.limit_forms import limit_flaws


def limit(name, form):
    return {"limits": {name: form}}


@pytest.mark.parametrize(
    ("name", "form"),
    [
        ("span_error", {"within": "1.5 mg"}),
        ("span_error", {"within": "0.02 % of load"}),
        ("span_error", {"within": "0.02 % of capacity"}),
        ("span_error", {"within": "2 d"}),
        ("span_error", {"within": "0.5 e"}),
        ("span_error", {"lower": "-1 mg"}),
        ("span_error", {"upper": "2 mg"}),
        ("span_error", {"lower": "-2 mg", "upper": "-1 mg"}),
        ("span_error", {"lower": "-1 d", "upper": "0.5 mg"}),
        ("zero_return", {"within": "0.001 % of capacity"}),
        ("hysteresis", {"within": "0.01 % of capacity", "when_present": True, "source": "ours"}),
        ("hysteresis", {"bands": [{"up_to": "20 g", "within": "2 d"}]}),
        ("independent_nonlinearity", {"within": "0.05 % of capacity"}),
        ("loss_error", {"within": "0.05 %"}),
        ("loss_error", {"within": "3 d"}),
        ("loss_error", {"within": "1 e"}),
        ("loss_error", {"bands": [{"up_to": "10 g", "within": "0.05 %"}]}),
        ("point_error", {"smaller_of": [{"within": "2 d"}, {"within": "0.1 % of load"}]}),
        ("point_error", {"larger_of": [{"lower": "-2 d"}, {"lower": "-1 mg"}]}),
        (
            "point_error",
            {
                "bands": [
                    {"up_to": "5000 e", "within": "0.5 e"},
                    {"up_to": "20000 e", "larger_of": [{"within": "1 e"}, {"within": "1 mg"}]},
                ]
            },
        ),
    ],
)
def test_every_form_of_limit_is_taken_where_it_has_a_meaning(flaws, name, form):
    assert flaws(limit(name, form)) == []


@pytest.mark.parametrize(
    ("form", "stands"),
    [
        ({}, "none"),
        ({"source": "nowhere"}, "none"),
        ({"within": "1 mg", "upper": "2 mg"}, "within and lower/upper"),
        (
            {"within": "1 mg", "bands": [{"up_to": "9 g", "within": "1 mg"}]},
            "within and bands",
        ),
    ],
)
def test_a_limit_has_exactly_one_form(flaws, sentences, form, stands):
    assert flaws(limit("span_error", form)) == [("rules/0/limits/span_error", "limit-form")]
    assert sentences(limit("span_error", form)).endswith(f"here stands {stands}")


def test_parts_of_a_limit_have_exactly_one_form_too(flaws):
    form = {"smaller_of": [{"within": "1 mg"}, {}]}
    band = {"bands": [{"up_to": "9 g"}]}
    assert flaws(limit("span_error", form)) == [
        ("rules/0/limits/span_error/smaller_of/1", "limit-form")
    ]
    assert flaws(limit("span_error", band)) == [("rules/0/limits/span_error/bands/0", "limit-form")]


@pytest.mark.parametrize("amount", ["0 mg", "-1 mg", "-2 d", "0.000 e", "-0.1 % of load"])
def test_a_two_sided_tolerance_is_above_zero(flaws, amount):
    assert flaws(limit("span_error", {"within": amount})) == [
        ("rules/0/limits/span_error/within", "out-of-range")
    ]


@pytest.mark.parametrize(
    ("name", "amount"),
    [
        ("span_error", "0.1 %"),
        ("zero_return", "0.1 %"),
        ("zero_return", "0.1 % of load"),
        ("span_agreement", "0.1 % of load"),
        ("terminal_nonlinearity", "0.1 % of load"),
        ("zero_based_nonlinearity", "0.1 % of load"),
        ("independent_nonlinearity", "0.1 % of load"),
        ("least_squares_nonlinearity", "0.1 % of load"),
        ("hysteresis", "0.1 % of load"),
        ("loss_error", "1 mg"),
        ("loss_error", "0.1 % of load"),
        ("loss_error", "0.1 % of capacity"),
    ],
)
def test_units_that_a_criterion_cannot_have_are_refused(flaws, name, amount):
    expected = [(f"rules/0/limits/{name}/within", "unit-not-for-criterion")]
    assert flaws(limit(name, {"within": amount})) == expected
    nested = {"larger_of": [{"within": "1 d"}, {"within": amount}]}
    assert flaws(limit(name, nested)) == [
        (f"rules/0/limits/{name}/larger_of/1/within", "unit-not-for-criterion")
    ]


def test_the_message_says_what_to_write_instead(sentences):
    said = sentences(limit("hysteresis", {"within": "0.1 % of load"}))
    assert 'write "% of capacity"' in said
    assert 'Write "% of load"' in sentences(limit("point_error", {"within": "0.1 %"}))
    assert 'Write "% of capacity"' in sentences(limit("zero_return", {"within": "0.1 %"}))
    assert "percentage points" in sentences(limit("loss_error", {"within": "1 mg"}))


@pytest.mark.parametrize(
    ("lower", "upper", "wrong"),
    [
        ("1 mg", "1 mg", True),
        ("2 mg", "1 mg", True),
        ("1.1 mg", "0.001 g", True),  # 1.1 mg is above 1.0 mg
        ("-1 mg", "-0.001 g", True),
        ("2 d", "1 d", True),
        ("1 mg", "0.0011 g", False),
        ("2 d", "1 mg", False),  # only a balance with a known d can tell
        ("-1 e", "1 e", False),
    ],
)
def test_the_lower_limit_lies_below_the_upper_where_that_can_be_told(flaws, lower, upper, wrong):
    found = flaws(limit("span_error", {"lower": lower, "upper": upper}))
    assert found == ([("rules/0/limits/span_error/upper", "out-of-order")] if wrong else [])


@pytest.mark.parametrize(
    ("ends", "wrong"),
    [
        (("10 g", "20 g", "0.05 kg"), []),
        (("5000 e", "20000 e"), []),
        (("10 g", "5000 e", "20 g"), []),
        (("10 g", "10 g"), [1]),
        (("10 g", "9999 mg"), [1]),
        (("20 d", "10 d", "30 d"), [1]),
        (("20 e", "20 e"), [1]),
        (("3 g", "2 g", "1 g"), [1, 2]),
    ],
)
def test_bands_rise_where_that_can_be_told(flaws, ends, wrong):
    bands = [{"up_to": end, "within": "2 d"} for end in ends]
    found = flaws(limit("point_error", {"bands": bands}))
    place = "rules/0/limits/point_error/bands"
    assert found == [(f"{place}/{i}/up_to", "out-of-order") for i in wrong]


@pytest.mark.parametrize("end", ["10 %", "50 % of load"])
def test_a_band_ends_at_a_load(flaws, end):
    found = flaws(limit("point_error", {"bands": [{"up_to": end, "within": "2 d"}]}))
    assert found == [("rules/0/limits/point_error/bands/0/up_to", "unit-not-for-criterion")]


def test_a_band_ends_above_zero(flaws):
    found = flaws(limit("point_error", {"bands": [{"up_to": "0 g", "within": "2 d"}]}))
    assert found == [("rules/0/limits/point_error/bands/0/up_to", "out-of-range")]


def test_a_zero_return_has_no_load_to_choose_a_band_by(flaws):
    found = flaws(limit("zero_return", {"bands": [{"up_to": "9 g", "within": "2 d"}]}))
    assert found == [("rules/0/limits/zero_return/bands", "no-load")]


HEAT = CriterionName("temperature_error", "K", on_pan=False)
TIME = CriterionName("settling_time", "s", on_pan=False)
MASS = CriterionName("span_error", "g", has_load=True)


@pytest.mark.parametrize(
    ("criterion", "text", "taken"),
    [
        (HEAT, "2 K", True),
        (HEAT, "2 d", False),
        (HEAT, "2 %", False),
        (HEAT, "2 mg", False),
        (HEAT, "0.1 % of capacity", False),
        (TIME, "10 min", True),
        (TIME, "10 K", False),
        (TIME, "1 e", False),
        (MASS, "10 min", False),
        (MASS, "1 K", False),
    ],
)
def test_a_limit_has_the_unit_of_its_criterion(criterion, text, taken):
    found = list(limit_flaws({"within": read_amount(text)}, criterion, ("here",)))
    assert [flaw.code for flaw in found] == ([] if taken else ["unit-not-for-criterion"])


@pytest.mark.parametrize(("end", "taken"), [("20 g", True), ("20 K", False), ("20 s", False)])
def test_a_band_ends_at_no_temperature_and_no_time(end, taken):
    form = {"bands": [{"up_to": read_amount(end), "within": read_amount("1 mg")}]}
    found = list(limit_flaws(form, MASS, ("here",)))
    assert [flaw.code for flaw in found] == ([] if taken else ["unit-not-for-criterion"])
