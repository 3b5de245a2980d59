"""The addresses of plans, as they are described."""

import json

import pytest

from weighworthy_service.web.app import create_app
from weighworthy_service.web.plan_document import plan_examples


@pytest.fixture(scope="module")
def client():
    return create_app().test_client()


@pytest.mark.parametrize("name", plan_examples())
def test_example_request_gives_the_example_answer(client, name) -> None:
    example = plan_examples()[name]
    answer = client.post(f"/v1/plans/{name}", json=example["request"])
    assert answer.status_code == 200
    assert answer.json == example["answer"]
    again = client.post(f"/v1/plans/{name}", json=example["request"])
    assert again.data == answer.data


@pytest.mark.parametrize("name", plan_examples())
def test_faults_are_problem_documents(client, name) -> None:
    for body, status, slug in (
        (b"{", 400, "malformed-json"),
        (b"[]", 422, "invalid"),
        (b"{}", 422, "invalid"),
    ):
        answer = client.post(f"/v1/plans/{name}", data=body, content_type="application/json")
        assert (answer.status_code, answer.content_type) == (status, "application/problem+json")
        assert answer.json["type"] == f"/problems/{slug}"
    answer = client.post(f"/v1/plans/{name}?detail=short", json=plan_examples()[name]["request"])
    assert answer.status_code == 422
    request = plan_examples()[name]["request"]
    answer = client.post(f"/v1/plans/{name}", json=request, headers={"Accept": "text/csv"})
    assert answer.status_code == 406


def test_everything_wrong_is_told_at_once(client) -> None:
    request = json.loads(json.dumps(plan_examples()["product"]["request"]))
    request["instrument"]["scale_interval"] = "1"
    request["typical"] = "12,5 %"
    request["surplus"] = True
    answer = client.post("/v1/plans/product", json=request)
    assert {e["pointer"] for e in answer.json["errors"]} == {
        "/instrument/scale_interval", "/typical", "/surplus",
    }  # fmt: skip
