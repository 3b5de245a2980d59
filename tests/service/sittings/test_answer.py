"""A sitting as a whole: each check as it would be alone, one verdict, and what is refused."""

from typing import Any

from weighworthy_service.json_text import to_bytes
from weighworthy_service.tables.line_requests import merged


def test_each_answer_is_the_one_it_would_have_alone(ask, common, client, span, loss):
    own = {"performed_at": "2026-03-16T09:00:00+01:00", "labels": {"a": "b"}, "warm_up": None}
    certificate = {"weights": {"A2": {"drift": "0.01 mg"}, "A50": None}}
    checks = [span(), loss(), loss(**own, **certificate), span("50.011 g", occasion="moved")]
    answered = ask(*checks, labels={"c": "d"})
    for check, answer in zip(checks, answered["answers"], strict=True):
        alone = merged({**common, "labels": {"c": "d"}}, check)
        # Flask's client would sort the labels.
        response = client.post(
            f"/v1/checks/{check['check']}", data=to_bytes(alone), content_type="application/json"
        )
        assert response.get_data() == to_bytes(answer)
    # RFC 7396: labels are added to, a null takes out, so that the warm-up is not stated.
    assert answered["answers"][2]["labels"] == {"c": "d", "a": "b"}
    assert "not-stated" in {f["code"] for f in answered["answers"][2]["findings"]}


def test_short_leaves_the_budgets_out(ask, client, common, loss):
    request = {**common, "checks": [loss()]}
    short = client.post("/v1/sittings?detail=short", json=request).get_json()
    alone = merged(common, loss())
    body = client.post("/v1/checks/simulated-loss?detail=short", json=alone).get_data()
    assert to_bytes(short["answers"][0]) == body


def test_digest_leaves_labels_out_and_nulls(ask, loss):
    digests = {
        ask(loss(), labels={"a": "b"})["request_digest"],
        ask(loss(labels={"a": "c"}), method=None)["request_digest"],
    }
    assert len(digests) == 1
    assert ask(loss(), method="dry")["request_digest"] not in digests


def pointers(problem: dict[str, Any]) -> set[str]:
    return {error["pointer"] for error in problem["errors"]}


def test_faults_stand_where_they_are_stated(ask, span, loss):
    problem = ask(
        loss(final="10.000"),
        span(weights={"A50": {"nominal": "50 g", "weight_class": "F9"}}),
        {"check": "spam"},
        status=422,
        instrument={"id": "MA-07"},
        warm_up="5",
    )
    # The kind is unknown, and so is what its form would be; the common part is looked at once.
    assert pointers(problem) == {
        "/checks/2/check",
        "/instrument/scale_interval",
        "/warm_up",
    }
    problem = ask(
        loss(final="10.000"),
        span(weights={"A50": {"weight_class": "F9"}}),
        loss(instrument={"scale_interval": "x g"}),
        status=422,
        occasion="whenever",
    )
    assert pointers(problem) == {
        "/checks/0/final/indication",
        "/checks/1/weights/A50/weight_class",
        "/checks/2/instrument/scale_interval",
        "/occasion",
    }


def test_form_of_the_sitting(ask, client, common, loss):
    assert pointers(ask(status=422)) == {"/checks"}
    assert pointers(ask(loss(), status=422, chekcs=[])) == {"/chekcs"}
    assert pointers(ask({}, status=422)) == {"/checks/0/check"}
    for body in ([], "x", {"checks": 5}, {"checks": [5]}, {"checks": {}}):
        response = client.post("/v1/sittings", json=body)
        assert response.status_code == 422, body


def test_profile_that_is_not_here(ask, loss):
    problem = ask(loss(), loss(profile="nowhere"), status=422)
    assert problem["type"].endswith("profile-not-usable")
    assert pointers(problem) == {"/checks/1/profile"}
    assert pointers(ask(loss(), status=422, profile="nowhere")) == {"/profile"}


def test_digest_of_another_profile(ask, loss):
    problem = ask(loss(expect_profile_digest="sha256:" + "0" * 64), status=409)
    assert problem["type"].endswith("digest-differs")


def test_a_sitting_is_of_one_balance(ask, loss):
    problem = ask(loss(), loss(instrument={"id": "MA-08"}), status=422)
    assert pointers(problem) == {"/checks/1/instrument/id"}
