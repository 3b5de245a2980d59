"""Comparison and bench card over HTTP: the published document, refusals, and no failure ever."""

import json
from collections.abc import Callable
from copy import deepcopy
from typing import Any

import pytest
from flask.testing import FlaskClient
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from weighworthy_service.web.compare_document import compare_examples
from weighworthy_service.web.compare_views import MAX_BODY
from weighworthy_service.wire.compare import MAX_REQUESTS

CARD, COMPARE = "/v1/profiles/card", "/v1/profiles/compare"
TOML = """id = "kestrel-mill"
revision = "1"

# span only
[[rules]]
checks = ["span"]
limits.span_error = { within = "4 mg" }
"""


@pytest.fixture
def card() -> dict[str, Any]:
    return deepcopy(compare_examples()["card"]["request"])


@pytest.fixture
def comparison() -> dict[str, Any]:
    return deepcopy(compare_examples()["compare"]["request"])


@pytest.mark.parametrize(("path", "name"), [(CARD, "card"), (COMPARE, "compare")])
def test_example_request_gives_the_example_answer(
    path: str, name: str, client: FlaskClient, conforms: Callable[..., None]
) -> None:
    example = compare_examples()[name]
    response = client.post(path, json=example["request"])
    conforms(path, "post", response.status_code, response.content_type, response.data)
    shown = deepcopy(example["answer"])
    if "engine" in shown:  # the version is no part of what is found
        shown["engine"]["version"] = response.get_json()["engine"]["version"]
    assert response.get_json() == shown


def test_figures_of_the_examples_by_hand() -> None:
    card, compare = (compare_examples()[name]["answer"] for name in ("card", "compare"))
    # 20.00012 g ± 4 mg: 19.99612 to 20.00412 g; zero within 2 d.
    bands = [row["bands"] for row in card["readings"]]
    assert [[(b["from"], b["to"]) for b in row] for row in bands] == [
        [("19.997 g", "20.004 g")],
        [("-0.002 g", "0.002 g")],
    ]
    # Errors of 0.88 and 3.88 mg against 4 and then 3 mg; the third request has no weights.
    verdicts = compare["verdicts"]
    assert verdicts["counts"] == {"pass -> fail": 1}
    assert (verdicts["unchanged"], verdicts["refused"]) == (1, 1)
    (row,) = [row for row in compare["settings"] if row["change"] != "equal"]
    assert (row["name"], row["by"], row["percent"]) == ("limits.span_error", "0.001 g", -25)


@pytest.mark.parametrize(("path", "name"), [(CARD, "card"), (COMPARE, "compare")])
def test_forms_and_published_schema_take_the_same(
    path: str, name: str, document: dict[str, Any]
) -> None:
    operation = document["paths"][path]["post"]
    schema = operation["requestBody"]["content"]["application/json"]["schema"]
    validator = Draft202012Validator({**schema, "components": document["components"]})
    request = compare_examples()[name]["request"]
    validator.validate(request)
    assert not validator.is_valid({**request, "surprise": 1})


@pytest.mark.parametrize(
    ("accept", "content_type", "begin"),
    [
        ("text/html", "text/html; charset=utf-8", "<!doctype html>"),
        ("text/html,application/xhtml+xml,*/*;q=0.8", "text/html; charset=utf-8", "<!doctype"),
        ("text/plain", "text/plain; charset=utf-8", "====="),
        ("*/*", "application/json", "{"),
        ("application/json, text/html;q=0.5", "application/json", "{"),
        ("", "application/json", "{"),
    ],
)
def test_form_of_the_card_by_accept(
    accept: str, content_type: str, begin: str, client: FlaskClient, card: dict[str, Any]
) -> None:
    response = client.post(CARD, json=card, headers={"Accept": accept} if accept else {})
    assert (response.status_code, response.content_type) == (200, content_type)
    assert response.get_data(as_text=True).startswith(begin)
    assert "Accept" in response.vary


def test_policy_lets_the_page_have_its_own_style(client: FlaskClient, card: dict[str, Any]) -> None:
    response = client.post(CARD, json=card, headers={"Accept": "text/html"})
    (policy,) = response.headers.getlist("Content-Security-Policy")
    assert "default-src 'none'" in policy
    assert "style-src 'sha256-" in policy


def test_nothing_else_is_acceptable(
    client: FlaskClient, card: dict[str, Any], conforms: Callable[..., None]
) -> None:
    response = client.post(CARD, json=card, headers={"Accept": "application/pdf"})
    assert response.status_code == 406
    conforms(CARD, "post", 406, response.content_type, response.data)


def faults(response: Any) -> list[tuple[str, str]]:
    return [(error["pointer"], error["code"]) for error in response.get_json()["errors"]]


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        ({"load": None}, ("/load", "required")),
        ({"load": ["A5"]}, ("/load/0", "weight-not-declared")),
        ({"load": [["A20"], ["A20"]]}, ("/load", "too-many")),
        ({"load": []}, ("/load", "too-few")),
        ({"load": "A20"}, ("/load", "wrong-type")),
        ({"load": [["A20"], "A20"]}, ("/load/1", "wrong-type")),
        ({"initial": ["A20"]}, ("/initial", "not-for-check")),
        ({"check": "spam"}, ("/check", "not-one-of")),
        ({"check": "simulated-loss", "load": None}, ("/initial", "required")),
        ({"check": "linearity", "load": [["A20"], ["A1"]]}, ("/load/1/0", "weight-not-declared")),
        ({"check": "linearity", "load": [["A20"]] * 13}, ("/load", "too-many")),
        ({"occasion": "birthday"}, ("/occasion", "not-one-of")),
        ({"profile_toml": TOML}, ("/profile_toml", "contradiction")),
        ({"instrument": {}}, ("/instrument/scale_interval", "required")),
        ({"performed_on": "1.3.2026"}, ("/performed_on", "malformed-date")),
    ],
)
def test_refused_cards(
    change: dict[str, Any],
    expected: tuple[str, str],
    client: FlaskClient,
    card: dict[str, Any],
    conforms: Callable[..., None],
) -> None:
    response = client.post(CARD, json={**card, **change})
    assert response.status_code == 422
    conforms(CARD, "post", 422, response.content_type, response.data)
    assert expected in faults(response)


def test_one_load_of_a_linearity_check_may_be_a_plain_list(
    client: FlaskClient, card: dict[str, Any]
) -> None:
    rule = {"checks": ["linearity"], "limits": {"point_error": {"within": "4 mg"}}}
    profile = {"id": "kestrel-mill", "revision": "1", "rules": [rule]}
    asked = {**card, "check": "linearity", "profile": profile, "load": ["A20"]}
    response = client.post(CARD, json=asked)
    assert response.status_code == 200
    (row,) = response.get_json()["readings"]
    assert row["bands"][0]["from"] == "19.997 g"


@pytest.mark.parametrize(
    ("text", "pointer", "line"),
    [
        (TOML.replace("span_error", "span_eror"), "/profile_toml/rules/0/limits/span_eror", 7),
        (TOML.replace('"4 mg"', '"4"'), "/profile_toml/rules/0/limits/span_error/within", 7),
        (TOML.replace("checks = ", "checks == "), "/profile_toml", 6),
    ],
)
def test_faults_of_a_toml_profile_name_the_line(
    text: str, pointer: str, line: int, client: FlaskClient, card: dict[str, Any]
) -> None:
    asked = {**card, "profile": None, "profile_toml": text}
    response = client.post(CARD, json=asked)
    assert response.status_code == 422
    (error,) = response.get_json()["errors"]
    assert error["pointer"] == pointer
    assert error["detail"].startswith(f"line {line}: ")


def test_toml_and_json_give_the_same_card(client: FlaskClient, card: dict[str, Any]) -> None:
    rule = {"checks": ["span"], "limits": {"span_error": {"within": "4 mg"}}}
    document = {"id": "kestrel-mill", "revision": "1", "rules": [rule]}
    one = client.post(CARD, json={**card, "profile": None, "profile_toml": TOML})
    other = client.post(CARD, json={**card, "profile": document})
    assert one.status_code == 200
    assert one.data == other.data


def test_named_profile(client: FlaskClient, card: dict[str, Any]) -> None:
    response = client.post(CARD, json={**card, "profile": "weighworthy-general"})
    assert response.get_json()["profile"]["id"] == "weighworthy-general"
    missing = client.post(CARD, json={**card, "profile": "nobody-knows"})
    assert missing.status_code == 422
    assert missing.get_json()["type"] == "/problems/profile-not-usable"


def test_new_certificate_needs_no_profile(
    client: FlaskClient, comparison: dict[str, Any], conforms: Callable[..., None]
) -> None:
    request = comparison["requests"][1]  # indicates 20.004 g
    own = {**request, "profile": comparison["before"]["profile"]}
    # 4.00 mg above a weight of 19.9999 g are 4.1 mg.
    weight = {**request["weights"]["A20"], "conventional_mass": "19.9999 g"}
    asked = {"before": {}, "after": {"weights": {"A20": weight, "Z": weight}}, "requests": [own]}
    response = client.post(COMPARE, json=asked)
    assert response.status_code == 200
    conforms(COMPARE, "post", 200, response.content_type, response.data)
    answer = response.get_json()
    assert answer["settings"] == []
    assert answer["verdicts"]["counts"] == {"pass -> fail": 1}
    assert answer["verdicts"]["weights_not_met"] == {"before": [], "after": ["Z"]}


def test_without_requests_there_are_no_verdicts(
    client: FlaskClient, comparison: dict[str, Any]
) -> None:
    del comparison["requests"]
    answer = client.post(COMPARE, json=comparison).get_json()
    assert answer["verdicts"] is None
    assert answer["settings"] != []


def test_balances_of_the_requests_are_compared_where_none_are_given(
    client: FlaskClient, comparison: dict[str, Any]
) -> None:
    instruments = comparison.pop("instruments")
    answer = client.post(COMPARE, json=comparison).get_json()
    assert {row["instrument"] for row in answer["settings"]} == {instruments[0]["id"]}


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        ({"instruments": [], "requests": []}, ("/instruments", "required")),
        ({"before": None}, ("/before", "required")),
        (
            {"before": {"weights": {"A": {"nominal": "20 g"}}}},
            ("/before/weights/A/weight_class", "weight-without-value"),
        ),
        ({"requests": [1]}, ("/requests/0", "wrong-type")),
        ({"requests": [{}] * 5001}, ("/requests", "too-many")),
        ({"loads": ["20"]}, ("/loads/0", "unit-missing")),
        ({"after": {"profile": {"id": "x"}}}, ("/after/profile/revision", "required")),
        (
            {
                "loads": ["1 g"] * 50,
                "methods": [f"m{i}" for i in range(50)],
                "instruments": [{"scale_interval": "1 mg"}] * 9,
            },
            ("", "too-many"),
        ),
    ],
)
def test_refused_comparisons(
    change: dict[str, Any],
    expected: tuple[str, str],
    client: FlaskClient,
    comparison: dict[str, Any],
    conforms: Callable[..., None],
) -> None:
    response = client.post(COMPARE, json={**comparison, **change})
    assert response.status_code == 422
    conforms(COMPARE, "post", 422, response.content_type, response.data)
    assert expected in faults(response)


def test_larger_bodies_than_those_of_a_check(
    client: FlaskClient, comparison: dict[str, Any]
) -> None:
    past = comparison["requests"][0]
    filler = {"labels": {f"l{i}": "x" * 1000 for i in range(30)}}
    comparison["requests"] = [{**past, **filler}] * 60
    body = json.dumps(comparison).encode()
    assert 1024 * 1024 < len(body) < MAX_BODY
    kind = {"Content-Type": "application/json"}
    response = client.post(COMPARE, data=body, headers=kind)
    assert response.get_json()["verdicts"]["requests"] == 60
    too_large = client.post(COMPARE, data=body + b" " * MAX_BODY, headers=kind)
    assert too_large.status_code == 413


def paths(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Where something stands in a document, the root included."""
    if not isinstance(value, dict | list):
        return [path]
    members = value.items() if isinstance(value, dict) else enumerate(value)
    return [path, *(p for key, member in members for p in paths(member, (*path, key)))]


junk = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-(10**30), 10**30),
    st.floats(allow_nan=False, allow_infinity=False),
    st.text(max_size=20),
    st.sampled_from(
        ["0 g", "-1 g", "999999999999.999999999 g", "0.000000001 g", "50 %", "1 d", "1 e", "A20"]
    ),
    st.just([]),
    st.just({}),
    st.lists(st.text(max_size=5), max_size=3),
    st.just([["A20"], []]),
)


def put(document: Any, path: tuple[Any, ...], value: Any) -> Any:
    if not path:
        return value
    *above, last = path
    inner = document
    for key in above:
        inner = inner[key]
    inner[last] = value
    return document


@pytest.mark.parametrize(("path", "name"), [(CARD, "card"), (COMPARE, "compare")])
@settings(
    max_examples=120,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(data=st.data())
def test_no_body_makes_the_service_fail(
    path: str, name: str, data: st.DataObject, client: FlaskClient
) -> None:
    document = deepcopy(compare_examples()[name]["request"])
    for _ in range(data.draw(st.integers(1, 3))):
        where = data.draw(st.sampled_from(paths(document)))
        document = put(document, where, deepcopy(data.draw(junk)))
    accept = data.draw(st.sampled_from(["application/json", "text/html", "text/plain"]))
    headers = {"Accept": accept if path == CARD else "application/json"}
    response = client.post(
        path, data=json.dumps(document), content_type="application/json", headers=headers
    )
    assert response.status_code in (200, 400, 422), response.get_data(as_text=True)


numbers = st.one_of(
    st.sampled_from(["0.000000001", "999999999999.999999999", "1", "0.5", "20", "0.001"]),
    st.integers(1, 10**6).map(lambda n: f"{n / 1000:.3f}"),
)
amounts = st.builds(
    "{} {}".format, numbers, st.sampled_from(["mg", "g", "d", "e", "% of load", "% of capacity"])
)
limits = st.one_of(
    st.fixed_dictionaries({"within": amounts}),
    st.fixed_dictionaries({"upper": amounts}),
    st.fixed_dictionaries({"lower": amounts.map("-{}".format), "upper": amounts}),
    st.fixed_dictionaries(
        {"larger_of": st.lists(st.builds(dict, within=amounts), min_size=2, max_size=3)}
    ),
    st.fixed_dictionaries(
        {"bands": st.lists(st.builds(dict, up_to=amounts, within=amounts), min_size=1, max_size=1)}
    ),
)
losses = st.builds("{} {}".format, numbers, st.sampled_from(["%", "d", "e"])).map(
    lambda amount: {"within": amount}
)
decisions = st.sampled_from(
    [{"rule": "simple"}, {"rule": "guarded"}, {"rule": "four-way", "guard_factor": "3"}]
)
grams = numbers.map("{} g".format)


@settings(
    max_examples=100,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(data=st.data())
def test_no_figures_make_the_service_fail(data: st.DataObject, client: FlaskClient) -> None:
    """Bodies of the right form whose figures are strange."""
    nominals = [data.draw(grams), data.draw(grams)]
    weights = {
        name: {
            "nominal": nominal,
            "conventional_mass": nominal,
            "expanded_uncertainty": data.draw(grams),
        }
        for name, nominal in zip("AB", nominals, strict=True)
    }
    limited: dict[str, dict[str, Any]] = {
        "span": {name: data.draw(limits) for name in ("span_error", "zero_return")},
        "linearity": {name: data.draw(limits) for name in ("point_error", "hysteresis")},
        "simulated-loss": {"loss_error": data.draw(losses)},
    }
    check = data.draw(st.sampled_from(list(limited)))
    window = {"target": data.draw(grams), "allowance": data.draw(grams)}
    rule = {
        "checks": [check],
        "limits": limited[check],
        "decision": data.draw(decisions),
        **({"start_window": window} if check == "simulated-loss" else {}),
    }
    loads = {
        "span": {"load": ["A"]},
        "linearity": {"load": [["A"], ["A", "B"]]},
        "simulated-loss": {
            "initial": ["A", "B"],
            "final": ["B"],
            "basis": data.draw(st.sampled_from(["wet", "dry"])),
        },
    }
    optional = {"capacity": grams, "verification_interval": grams, "repeatability": grams}
    instrument = {
        "scale_interval": data.draw(grams),
        "loss_interval": data.draw(numbers.map("{} %".format)),
        **data.draw(st.fixed_dictionaries({}, optional=optional)),
    }
    profile = {"id": "kestrel-mill", "revision": "1", "rules": [rule]}
    asked = {"profile": profile, "check": check, "instrument": instrument, "weights": weights}
    accept = data.draw(st.sampled_from(["application/json", "text/html", "text/plain"]))
    response = client.post(CARD, json={**asked, **loads[check]}, headers={"Accept": accept})
    assert response.status_code in (200, 422), response.get_data(as_text=True)

    other = {**profile, "revision": "2", "rules": [{**rule, "decision": data.draw(decisions)}]}
    sides = {"before": {"profile": profile}, "after": {"profile": other}}
    response = client.post(COMPARE, json={**sides, "instruments": [instrument]})
    assert response.status_code in (200, 422), response.get_data(as_text=True)


def test_one_part_of_a_comparison(
    client: FlaskClient, comparison: dict[str, Any], conforms: Callable[..., None]
) -> None:
    whole = client.post(COMPARE, json=comparison).get_json()
    parts = {}
    for part in ("settings", "verdicts"):
        response = client.post(COMPARE, json={**comparison, "part": part})
        conforms(COMPARE, "post", response.status_code, response.content_type, response.data)
        parts[part] = response.get_json()
    assert parts["settings"] == {**whole, "verdicts": None}
    none = {"settings": [], "rules_not_reached": {"before": [], "after": []}}
    assert parts["verdicts"] == {**none, "verdicts": whole["verdicts"]}


def test_too_many_past_checks_are_told_what_to_do(
    client: FlaskClient, comparison: dict[str, Any], conforms: Callable[..., None]
) -> None:
    many = {**comparison, "requests": [{}] * (MAX_REQUESTS + 1)}
    response = client.post(COMPARE, json=many)
    assert response.status_code == 422
    assert ("/requests", "too-many") in faults(response)
    large = client.post(COMPARE, data=b" " * (MAX_BODY + 1), content_type="application/json")
    assert large.status_code == 413
    for refused in (response, large):
        conforms(COMPARE, "post", refused.status_code, refused.content_type, refused.data)
        assert "send past checks in several requests with `part`" in refused.get_json()["detail"]
