"""Review and resolution over HTTP, held to the published document."""

import json
from collections.abc import Callable
from copy import deepcopy
from typing import Any

import numpy as np
import pytest
from flask.testing import FlaskClient
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from marshmallow import ValidationError
from werkzeug.test import TestResponse

from weighworthy_service.web.review_document import review_examples
from weighworthy_service.web.review_form import ReviewRequestForm
from weighworthy_service.wire.review import ResolveRequestForm

REVIEW, RESOLVE = "/v1/profiles/review", "/v1/profiles/resolve"
PROFILE = {
    "id": "kestrel-harbour",
    "revision": "2026-03",
    "rules": [
        {"limits": {"span_error": {"within": "3 mg"}}},
        {"sites": ["harbour"], "limits": {"span_error": {"within": "2 mg"}}},
    ],
}
TOML = """\
# Kestrel Mill Foods (invented)
id = "kestrel-harbour"
revision = "2026-03"

[[rules]]
limits.span_error.within = "3 mg"

[[rules]]
sites = ["harbour"]
limits.span_error = { within = "2 mg" }   # line 10
"""
INSTRUMENT = {"id": "MA-01", "site": "harbour", "scale_interval": "1 mg", "repeatability": "0.4 mg"}
WEIGHTS = {"A50": {"nominal": "50 g", "weight_class": "OIML E2"}}


@pytest.fixture
def post(
    client: FlaskClient, conforms: Callable[..., None]
) -> Callable[..., tuple[int, dict[str, Any]]]:
    """Status and body of an answer that is as the document announces."""

    def send(path: str, body: Any = None, **more: Any) -> tuple[int, dict[str, Any]]:
        response = client.post(path, **({"json": body} if body is not None else {}), **more)
        conforms(path, "post", response.status_code, response.content_type, response.data)
        return response.status_code, response.get_json()

    return send


@pytest.mark.parametrize("name", ["review", "resolve"])
def test_published_examples_are_what_is_answered(name: str, post) -> None:
    example = review_examples()[name]
    status, answer = post(f"/v1/profiles/{name}", example["request"])
    assert status == 200
    assert answer == example["answer"]


def test_example_from_outside() -> None:
    """100·1 mg/12 g = 0.00833 %, above 0.005 %; and a million simulated runs in steps of 1 mg."""
    answer = review_examples()["review"]["answer"]
    codes = [(r["severity"], r["code"], r["line"]) for r in answer["remarks"]]
    assert ("error", "limit-below-rounding", 14) in codes
    first, second = answer["judgement"]
    rng = np.random.default_rng(12)
    zero = rng.uniform(-0.5, 0.5, 1_000_000)
    start, end = (np.round(m + zero + 0.6 * rng.standard_normal(1_000_000)) for m in (12e3, 10e3))
    counted = np.mean(np.abs(100 * (1 - end / start) - 100 / 6) > 0.02 + 1e-9)
    # Four standard deviations of a share of 0.005 among a million.
    assert first["false_rejection"]["one_set"] == pytest.approx(counted, abs=0.0003)
    assert (first["attainable"], second["attainable"]) == (True, False)


def review_of(post, **more: Any) -> dict[str, Any]:
    status, answer = post(
        REVIEW,
        {
            "instruments": [INSTRUMENT],
            "weights": WEIGHTS,
            "loads": {"span": [["A50"]]},
            **more,
        },
    )
    assert status == 200
    return answer


def test_the_same_review_of_toml_and_json_but_for_lines(post) -> None:
    as_toml = review_of(post, profile_toml=TOML)
    as_json = review_of(post, profile=PROFILE)
    assert as_toml["profile"] == as_json["profile"]
    assert as_toml["judgement"][0]["limit"] == {
        "pointer": "/rules/1/limits/span_error",
        "line": 10,
        "document": "kestrel-harbour@2026-03",
    }
    for row in (*as_toml["judgement"], *as_toml["remarks"]):
        place = row.get("limit", row)
        assert place["line"] is not None or place["pointer"] == ""
        place["line"] = None
    assert as_toml == as_json


def test_a_body_of_toml_alone(post, client) -> None:
    status, answer = post(REVIEW, data=TOML, content_type="application/toml")
    assert status == 200
    assert answer["well_formed"]
    assert answer["judgement"] == []
    # Only a review takes it: a resolution cannot do without an instrument.
    assert client.post(RESOLVE, data=TOML, content_type="application/toml").status_code == 415


@pytest.mark.parametrize(
    ("text", "pointer", "line", "code"),
    [
        ('id = "a"\nrevision = \n', "", 2, "malformed-toml"),
        (b'id = "a"\n# \xe9\n', "", 2, "malformed-toml"),
        ('id = "A"\nrevision = "1"\n[[rules]]\n', "/id", 1, "malformed-text"),
        (TOML + "limts = {}\n", "/rules/1/limts", 11, "unknown-field"),
        (TOML + 'limits.span_error.lower = "1 mg"\n', "", 11, "malformed-toml"),
        (TOML + '[[rules]]\nlimits.span_eror.within = "1 mg"\n', None, 12, "unknown-criterion"),
        (TOML + "[[rules]]\n\nlimits.zero_return = { within = 2 }\n", None, 13, "unit-missing"),
        (TOML + 'checks = [\n "span",\n "spam" ]\n', "/rules/1/checks/1", 13, "not-one-of"),
        (TOML + '[rules.validity]\npoints.at_least = 3\nstable = "no"\n', None, 13, "not-one-of"),
        (TOML.replace("id =", "extends = 'nobody@1'\nid ="), "/extends", 2, "unknown-profile"),
        (TOML.replace('revision = "2026-03"', "# none"), "/revision", 1, "required"),
        (
            "\n".join(['title = """', "x", '"""', 'revision = "1"', 'id = "a"', "rules = 1"]),
            "/rules",
            6,
            "wrong-type",
        ),
    ],
)
def test_errors_name_lines(post, text, pointer, line, code) -> None:
    status, answer = post(REVIEW, data=text, content_type="application/toml")
    assert status == 200
    assert (answer["well_formed"], answer["profile"]) == (False, None)
    (error,) = answer["errors"]
    assert (error["line"], error["code"]) == (line, code)
    assert pointer is None or error["pointer"] == pointer


def test_a_fault_of_form_hides_no_fault_of_meaning(post) -> None:
    text = TOML + '[[rules]]\nlimits.loss_eror = { wihtin = "1 %" }\n[[rules]]\nchecks = ["spam"]\n'
    _, answer = post(REVIEW, data=text, content_type="application/toml")
    assert [(e["line"], e["code"], e["pointer"]) for e in answer["errors"]] == [
        (12, "unknown-field", "/rules/2/limits/loss_eror/wihtin"),
        (14, "not-one-of", "/rules/3/checks/0"),
        (12, "unknown-criterion", "/rules/2/limits/loss_eror"),
    ]


def test_what_voids_every_check_has_its_line_and_no_chances(post) -> None:
    text = TOML + '\n[[rules]]\nvalidity.weights_in_date = "void"\n'
    answer = review_of(post, profile_toml=text, spread="0.33")
    (error,) = (r for r in answer["remarks"] if r["severity"] == "error")
    assert (error["code"], error["line"]) == ("not-stated", 13)
    assert {tuple(row["void_by"]) for row in answer["judgement"]} == {("not-stated",)}
    for name in ("false_rejection", "false_acceptance", "false_failures_a_year", "global_risks"):
        assert {row[name] for row in answer["judgement"]} == {None}
    # With dated weights it is judged; past their date on the day that is asked for, it is not.
    dated = {"A50": {**WEIGHTS["A50"], "due_on": "2026-06-30"}}
    asked: dict[str, Any] = {"profile_toml": text, "weights": dated}
    for day, void_by in (("2026-06-30", []), ("2026-07-01", ["weight-overdue"])):
        answer = review_of(post, **asked, performed_on=day)
        assert [row["void_by"] for row in answer["judgement"]] == [void_by] * 2
    (error,) = (r for r in answer["remarks"] if r["severity"] == "error")
    assert (error["code"], error["line"]) == ("weight-overdue", 13)


def test_a_load_above_the_capacity_has_the_line_of_its_limit(post) -> None:
    small = {**INSTRUMENT, "capacity": "40 g"}
    answer = review_of(post, profile_toml=TOML, instruments=[small])
    (error,) = (r for r in answer["remarks"] if r["severity"] == "error")
    assert (error["code"], error["line"]) == ("overload", 10)
    assert {tuple(row["void_by"]) for row in answer["judgement"]} == {("overload",)}


def test_errors_of_json_have_pointers_alone(post) -> None:
    profile = deepcopy(PROFILE)
    profile["rules"][1]["limits"]["span_eror"] = {"within": "1 mg"}
    status, answer = post(REVIEW, {"profile": profile})
    assert status == 200
    assert answer["errors"] == [
        {
            "pointer": "/rules/1/limits/span_eror",
            "line": None,
            "code": "unknown-criterion",
            "detail": answer["errors"][0]["detail"],
        }
    ]
    assert "span_error" in answer["errors"][0]["detail"]


def test_a_profile_of_the_service_by_name(post) -> None:
    answer = review_of(post, profile="weighworthy-general@1")
    assert answer["profile"]["id"] == "weighworthy-general"
    assert review_of(post) == answer
    assert {row["limit"]["document"] for row in answer["judgement"]} == {"weighworthy-general@1"}
    assert [r for r in answer["remarks"] if r["severity"] == "error"] == []
    status, problem = post(REVIEW, {"profile": "nobody@1"})
    assert (status, problem["type"]) == (422, "/problems/profile-not-usable")


def test_global_risks_when_the_spread_is_known(post) -> None:
    assert review_of(post, profile=PROFILE)["judgement"][0]["global_risks"] is None
    known = review_of(post, profile=PROFILE, spread="0.33")["judgement"][0]["global_risks"]
    assert 0 < known["consumer"] < 0.01
    assert 0 < known["producer"] < 0.5


def test_resolve_names_winner_and_losers(post) -> None:
    asked = {"instrument": INSTRUMENT, "check": "span", "load": ["A50"], "weights": WEIGHTS}
    status, answer = post(RESOLVE, {"profile_toml": TOML, **asked})
    assert status == 200
    setting = next(s for s in answer["settings"] if s["name"] == "limits.span_error")
    assert setting == {
        "name": "limits.span_error",
        "value": {"within": "2 mg"},
        "lower_limit": -0.002,
        "upper_limit": 0.002,
        "place": {
            "pointer": "/rules/1/limits/span_error",
            "line": 10,
            "document": "kestrel-harbour@2026-03",
        },
        "lost": [
            {
                "value": {"within": "3 mg"},
                "place": {
                    "pointer": "/rules/0/limits/span_error",
                    "line": 6,
                    "document": "kestrel-harbour@2026-03",
                },
            }
        ],
    }
    (use_on,) = (s for s in answer["settings"] if s["name"] == "use_on")
    assert use_on["place"] is None


def test_resolve_across_documents(post) -> None:
    text = 'id = "harbour"\nrevision = "1"\nextends = "weighworthy-general@1"\n'
    text += '[[rules]]\nchecks = ["span"]\nlimits.span_error.within = "1 d"\nloosens = "a test"\n'
    asked = {"instrument": INSTRUMENT, "check": "span"}
    status, answer = post(RESOLVE, {"profile_toml": text, **asked})
    assert status == 200
    assert answer["extends"] == ["weighworthy-general@1"]
    setting = next(s for s in answer["settings"] if s["name"] == "limits.span_error")
    assert (setting["place"]["document"], setting["place"]["line"]) == ("harbour@1", 6)
    (lost,) = setting["lost"]
    assert (lost["place"]["document"], lost["place"]["line"]) == ("weighworthy-general@1", None)
    # The pointer is one into that document.
    inherited = next(s for s in answer["settings"] if s["name"] == "limits.zero_return")
    assert inherited["place"]["document"] == "weighworthy-general@1"


@pytest.mark.parametrize(
    ("path", "change", "pointer", "code"),
    [
        (REVIEW, {"profile": PROFILE, "profile_toml": TOML}, "/profile_toml", "contradiction"),
        (REVIEW, {"loads": {"span": [["A9"]]}}, "/loads/span/0/0", "weight-not-declared"),
        (REVIEW, {"loads": {"linearity": [["A50"] * 2]}}, "/loads/linearity/0", "weight-twice"),
        (
            REVIEW,
            {"loads": {"simulated-loss": {"initial": ["A50"], "final": ["B"]}}},
            "/loads/simulated-loss/final/0",
            "weight-not-declared",
        ),
        (REVIEW, {"loads": {"blank": []}}, "/loads/blank", "unknown-field"),
        (REVIEW, {"instruments": [{}]}, "/instruments/0/scale_interval", "required"),
        (REVIEW, {"weights": {"A50": {"nominal": "50 g"}}}, None, "weight-without-value"),
        (REVIEW, {"spread": "0"}, "/spread", "out-of-range"),
        (
            REVIEW,
            {"instruments": [INSTRUMENT] * 41, "loads": {"span": [["A50"]] * 10}},
            "/instruments",
            "too-many",
        ),
        (REVIEW, {"profile": 7}, "/profile", "wrong-type"),
        (RESOLVE, {"check": "spam"}, "/check", "not-one-of"),
        (RESOLVE, {"check": "linearity", "stage": "as-left"}, "/stage", "not-for-check"),
        (RESOLVE, {"load": ["A9"]}, "/load/0", "weight-not-declared"),
        (RESOLVE, {"instrument": None}, "/instrument", "required"),
        (RESOLVE, {"profile": None, "profile_toml": "a ="}, "/profile_toml", "malformed-toml"),
    ],
)
def test_refused_with_a_place(post, path, change, pointer, code) -> None:
    asked: dict[str, Any] = {"profile": PROFILE, "weights": WEIGHTS}
    asked |= (
        {"instruments": [INSTRUMENT]}
        if path == REVIEW
        else {
            "instrument": INSTRUMENT,
            "check": "span",
        }
    )
    status, problem = post(path, {**asked, **change})
    assert status == 422
    found = [(error["pointer"], error["code"]) for error in problem["errors"]]
    assert code in [c for _, c in found]
    assert pointer is None or (pointer, code) in found


def test_other_refusals(client: FlaskClient) -> None:
    assert client.post(REVIEW, data="{}", content_type="text/plain").status_code == 415
    assert client.post(REVIEW, data="{", content_type="application/json").status_code == 400
    html = {"Accept": "text/html"}
    assert client.post(REVIEW, json={"profile": PROFILE}, headers=html).status_code == 406
    assert client.post(f"{REVIEW}?detail=short", json={"profile": PROFILE}).status_code == 422
    huge = "#" * (256 * 1024 + 1)
    assert client.post(REVIEW, data=huge, content_type="application/toml").status_code == 413
    # As a text in JSON, so long a profile is not taken either.
    assert client.post(REVIEW, json={"profile_toml": huge}).status_code == 422


PROBES = [
    ((), {}, True),
    (("profile",), None, True),
    (("profile",), "a b", False),
    (("instruments",), [], True),
    (("instruments",), None, True),
    (("instruments", 0, "model"), 7, False),
    (("weights",), None, True),
    (("loads",), None, True),
    (("loads", "span"), [], False),
    (("loads", "span"), [[]], False),
    (("loads", "span"), ["A50"], False),
    (("loads", "simulated-loss"), {"initial": ["A50"]}, False),
    (("loads", "simulated_loss"), None, False),
    (("performed_on",), "2026-03-01", True),
    (("performed_on",), "2026-3-1", False),
    (("spread",), "0.5", True),
    (("spread",), 0.5, False),
    (("spread",), "0", False),
]


@pytest.mark.parametrize(("path", "value", "taken"), PROBES)
def test_form_and_document_agree_on_reviews(component, path, value, taken) -> None:
    body: Any = {
        "profile": PROFILE,
        "instruments": [INSTRUMENT],
        "weights": WEIGHTS,
        "loads": {"span": [["A50"]]},
    }
    body = _changed(body, path, value)
    assert component("ReviewRequest").is_valid(body) is taken
    assert _takes(ReviewRequestForm(), body) is taken


@pytest.mark.parametrize(
    ("path", "value", "taken"),
    [
        (("instrument",), None, False),
        (("check",), None, False),
        (("check",), "", False),
        (("stage",), "adjustment", False),
        (("stage",), "as-found", True),
        (("load",), [], False),
        (("load",), ["A50"], True),
        (("method",), "flour", True),
        (("instruments",), [], False),
    ],
)
def test_form_and_document_agree_on_resolutions(component, path, value, taken) -> None:
    body = _changed({"instrument": INSTRUMENT, "check": "span"}, path, value)
    assert component("ResolveRequest").is_valid(body) is taken
    assert _takes(ResolveRequestForm(), body) is taken


def _changed(body: Any, path: tuple[str | int, ...], value: Any) -> Any:
    if not path:
        return value
    at = deepcopy(body)
    inside = at
    for step in path[:-1]:
        inside = inside[step]
    inside[path[-1]] = value
    return at


def _takes(form: Any, body: Any) -> bool:
    try:
        form.load(body)
    except ValidationError:
        return False
    return True


# No text, and no change to a good one, makes the service fail.
PATIENT = settings(
    max_examples=200, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
pieces = st.sampled_from(
    ["[[rules]]\n", "limits.span_error", " = ", "{", "}", "[", '"2 d"', "within", "\n", '"""', "#",
     "1e400", "0x", "extends", "'", ".", ",", "-", "inf", "1979-05-27T07:32:00Z", "\\u0000", "é"]
)  # fmt: skip


def expect_answer(response: TestResponse) -> None:
    assert response.status_code in (200, 422), response.get_data(as_text=True)
    assert json.loads(response.data)


@PATIENT
@given(st.one_of(st.lists(pieces, max_size=30).map("".join), st.text(max_size=60)))
def test_no_text_fails(client: FlaskClient, text: str) -> None:
    expect_answer(client.post(REVIEW, data=("#" + text).encode(), content_type="application/toml"))
    expect_answer(client.post(REVIEW, data=(TOML + text).encode(), content_type="application/toml"))


@PATIENT
@given(st.binary(max_size=60))
def test_no_bytes_fail(client: FlaskClient, raw: bytes) -> None:
    expect_answer(client.post(REVIEW, data=TOML.encode() + raw, content_type="application/toml"))


masses = st.sampled_from(["0.000000001 g", "1 mg", "0.3 mg", "10 g", "50 g", "999999999999 g"])
amounts = st.sampled_from(
    ["0.000000001 mg", "0.5 mg", "2 d", "0.5 e", "0.10 % of load", "0.01 % of capacity", "9 kg"]
)
forms = st.one_of(
    st.fixed_dictionaries({"within": amounts}),
    st.fixed_dictionaries({"lower": amounts.map("-{}".format)}),
    st.fixed_dictionaries({"upper": amounts}),
    st.fixed_dictionaries({"lower": st.just("-1 mg"), "upper": st.just("3 mg")}),
    st.fixed_dictionaries({"lower": st.just("1 mg"), "upper": st.just("3 mg")}),
    amounts.map(lambda a: {"larger_of": [{"within": a}, {"upper": "2 d"}]}),
    amounts.map(lambda a: {"bands": [{"up_to": "20 g", "within": a}]}),
)
mass_limits = st.dictionaries(
    st.sampled_from(["span_error", "zero_return", "span_agreement", "point_error", "hysteresis"]),
    forms,
    max_size=4,
)
loss_limits = st.sampled_from(["0.000000001 %", "0.005 %", "0.05 %", "999 %", "1 d", "0.1 e"])
some_rules = st.fixed_dictionaries(
    {
        "limits": st.builds(
            lambda m, w: {**m, "loss_error": {"within": w}}, mass_limits, loss_limits
        )
    },
    optional={
        "sites": st.sampled_from([["harbour"], ["h*"], ["valley"]]),
        "stages": st.just(["as-left"]),
        "decision": st.sampled_from(
            [
                {"rule": "guarded", "guard_factor": "999999"},
                {"rule": "four-way"},
                {"coverage": "50 %"},
                {"coverage": "99.999999999 %"},
            ]
        ),
        "schedule": st.sampled_from(
            [{"every": "day"}, {"every": "0.000000001 s"}, {"every": "999999999999 h"}]
        ),
        "start_window": st.builds(lambda t, a: {"target": t, "allowance": a}, masses, masses),
        "weights_correlation": st.sampled_from(["independent", "worst"]),
    },
)
some_balances = st.fixed_dictionaries(
    {"scale_interval": masses},
    optional={
        "id": st.just("MA-01"),
        "site": st.just("harbour"),
        "capacity": masses,
        "verification_interval": masses,
        "repeatability": st.sampled_from(["0 g", "0.4 mg", "999999999999 kg"]),
        "repeatability_observations": st.sampled_from([2, 10]),
        "loss_interval": st.just("0.01 %"),
        "hot_zero_drift": masses,
        "eccentricity": st.builds(lambda d: {"difference": d, "load": "20 g"}, masses),
    },
)


@PATIENT
@given(
    st.lists(some_rules, min_size=1, max_size=3),
    st.lists(some_balances, min_size=1, max_size=2),
    st.none() | st.sampled_from(["0.000000001", "0.5", "999999999999"]),
)
def test_no_profile_fails(client, conforms, rules, balances, spread) -> None:
    for rule in rules:  # what is asked of the whole check has no stage
        if "stages" in rule:
            rule.pop("start_window", None)
    body = {
        "profile": {"id": "kestrel", "revision": "1", "rules": rules},
        "instruments": balances,
        "weights": {
            **WEIGHTS,
            "A10": {"nominal": "10 g", "weight_class": "OIML M1"},
            "T": {
                "nominal": "0.000000001 g",
                "conventional_mass": "0.000000001 g",
                "expanded_uncertainty": "99 kg",
            },
        },
        "loads": {
            "span": [["A50"], ["T"]],
            "linearity": [["A10"], ["A50", "A10"], ["T"]],
            "simulated-loss": {"initial": ["A50", "A10"], "final": ["A50"]},
        },
        "spread": spread,
    }
    response = client.post(REVIEW, json=body)
    expect_answer(response)
    conforms(REVIEW, "post", response.status_code, response.content_type, response.data)
