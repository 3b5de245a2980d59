"""The OpenAPI document: valid, committed as derived, and its examples work."""

import re
from collections.abc import Callable, Iterator
from copy import deepcopy
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient
from openapi_spec_validator import validate

from weighworthy_service.checks.kind import Kind
from weighworthy_service.checks.registry import KINDS
from weighworthy_service.web.document import document_bytes
from weighworthy_service.wire.problem import PROBLEMS

COMMITTED = Path(__file__).parents[2] / "openapi" / "weighworthy-v1.json"
by_kind = pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.slug)


def test_is_valid_openapi_3_1(document: dict[str, Any]) -> None:
    validate(document)
    assert document["openapi"] == "3.1.1"


def test_committed_document_is_the_derived_one() -> None:
    assert COMMITTED.read_bytes() == document_bytes(), (
        "write it anew: python -m weighworthy_service.web.document > openapi/weighworthy-v1.json"
    )


def test_every_address_is_documented_and_served(
    document: dict[str, Any], client: FlaskClient
) -> None:
    rules = client.application.url_map.iter_rules()
    served = {re.sub("<(?:[^:>]*:)?(.*?)>", r"{\1}", rule.rule): rule.methods for rule in rules}
    assert set(document["paths"]) == set(served)
    for path, operations in document["paths"].items():
        for method in operations:
            assert method.upper() in served[path]


def test_every_problem_that_an_evaluation_may_give_is_documented(document: dict[str, Any]) -> None:
    responses = document["paths"]["/v1/checks/span"]["post"]["responses"]
    said = " ".join(response["description"] for response in responses.values())
    of_tables = {"mapping-not-usable", "table-not-usable", "group-incomplete"}
    of_tables |= {"body-incomplete"}
    # An address that exists never says these two.
    elsewhere = {"not-found", "method-not-allowed"}
    assert {slug for slug in PROBLEMS if f"`{slug}`" in said} == set(
        PROBLEMS
    ) - of_tables - elsewhere


@pytest.mark.parametrize("path", ["/v1/checks", "/v1/info", "/livez", "/readyz"])
def test_what_is_read_conforms(
    path: str, client: FlaskClient, conforms: Callable[..., None]
) -> None:
    response = client.get(path)
    assert response.status_code == 200
    conforms(path, "get", response.status_code, response.content_type, response.data)


def objects(schema: Any) -> Iterator[dict[str, Any]]:
    if isinstance(schema, dict):
        if "properties" in schema:
            yield schema
        for below in schema.values():
            yield from objects(below)
    elif isinstance(schema, list):
        for below in schema:
            yield from objects(below)


def reachable(document: dict[str, Any], name: str) -> set[str]:
    found, open_names = set(), [name]
    while open_names:
        one = open_names.pop()
        if one not in found:
            found.add(one)
            text = str(document["components"]["schemas"][one])
            open_names += [
                other
                for other in document["components"]["schemas"]
                if f"'#/components/schemas/{other}'" in text
            ]
    return found


def test_requests_are_closed_and_answers_open(document: dict[str, Any]) -> None:
    schemas = document["components"]["schemas"]
    taken = set().union(
        *(reachable(document, name) for name in ("SpanCheck", "LinearityCheck"))
    ) | reachable(document, "SimulatedLossCheck")
    said = reachable(document, "Answer") | reachable(document, "Problem")
    assert {"Weight", "Instrument", "Round", "Point", "Loading", "Profile", "Rule"} <= taken
    assert not taken & said
    for name in taken:
        assert all(o["additionalProperties"] is False for o in objects(schemas[name])), name
    for name in said:
        assert all(o.get("additionalProperties", True) for o in objects(schemas[name])), name
        asked_for = {"explanation"} if name == "Answer" else set()
        always = schemas[name]["properties"].keys() - asked_for
        assert sorted(schemas[name]["required"]) == sorted(always), name


@by_kind
def test_example_request_gives_the_example_answer(
    kind: Kind, client: FlaskClient, conforms: Callable[..., None]
) -> None:
    path = f"/v1/checks/{kind.slug}"
    response = client.post(path, json=kind.example["request"])
    conforms(path, "post", response.status_code, response.content_type, response.data)
    said, shown = response.get_json(), deepcopy(kind.example["answer"])
    # The version is no part of what is judged.
    shown["engine"]["version"] = said["engine"]["version"]
    assert said == shown


@by_kind
def test_example_criteria_are_those_of_the_kind(kind: Kind) -> None:
    names = [criterion["name"] for criterion in kind.example["answer"]["criteria"]]
    assert list(dict.fromkeys(names)) == [criterion.name for criterion in kind.criteria]


def test_examples_figures_by_hand() -> None:
    """Values of the examples, worked out by hand from their readings."""
    answers = {kind.slug: kind.example["answer"] for kind in KINDS}

    span = {c["key"]: c["value"] for c in answers["span"]["criteria"]}
    # 20.003 - 0 - 20, 20.002 - 0 - 20, again the first; largest minus smallest.
    assert [span[f"span_error[{i}]"] for i in range(3)] == [0.003, 0.002, 0.003]
    assert span["span_agreement"] == 0.001
    assert [span[f"zero_return[{i}]"] for i in range(3)] == [0.0, 0.001, 0.0]

    linearity = {c["key"]: c["value"] for c in answers["linearity"]["criteria"]}
    # Mean errors at 2, 10, 20, 30, 50 g: 0, 1.5, 3, 3.5, 4 mg. Line through zero and 4 mg at
    # 50 g: 0.08 mg a gram; departures -0.16, 0.7, 1.4, 1.1 and 0 mg.
    assert linearity["terminal_nonlinearity"] == 0.0014
    # Down minus up at 2, 10, 20, 30 g: 0, 1, 0, 1 mg.
    assert linearity["hysteresis"] == 0.001

    (loss,) = answers["simulated-loss"]["criteria"]
    # 100·2.001/12.002 = 16.672 221 30 %; 100·(1 - 10.00012/12.00012) = 16.666 500 00 %.
    assert loss["value"] == pytest.approx(16.67222130 - 16.66650000, abs=2e-8)
    # 3 d referred to the initial load: 100·0.003/12.
    assert loss["upper_limit"] == 0.025
