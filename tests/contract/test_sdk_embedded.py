"""The client and the service inside one process: every kind of check, and what is refused."""

from collections.abc import Iterator
from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest

from weighworthy import (
    Client,
    DigestDiffers,
    Invalid,
    KeyMissing,
    NotFound,
    ProfileNotUsable,
    TooLarge,
    q,
)

# An invented site of the invented Kestrel Mill Foods.
SITE = {
    "weights": {
        "W50": {"nominal": "50 g", "weight_class": "OIML F1"},
        "W20": {"nominal": "20 g", "weight_class": "OIML F1"},
        "W10": {"nominal": "10 g", "weight_class": "OIML F1"},
    },
    "instruments": {
        "MA-1": {
            "site": "harbour",
            "capacity": "120 g",
            "scale_interval": "0.001 g",
            "repeatability": "0.0008 g",
            "repeatability_observations": 10,
        }
    },
    "profile": {
        "id": "harbour",
        "revision": "1",
        "rules": [
            {"checks": ["span"], "limits": {"span_error": {"within": "0.004 g"}}},
            {"checks": ["linearity"], "limits": {"point_error": {"within": "0.004 g"}}},
            {"checks": ["simulated-loss"], "limits": {"loss_error": {"within": "0.02 %"}}},
        ],
    },
}
# Its only rule is for another kind of check than the span check it is used with.
NOTHING_JUDGED = {
    "id": "harbour",
    "revision": "2",
    "rules": [{"checks": ["linearity"], "limits": {"point_error": {"within": "0.004 g"}}}],
}


@pytest.fixture(scope="module")
def client() -> Iterator[Client]:
    with Client.embedded(defaults=SITE) as client:
        yield client


# 50.003 g − 0.001 g − 50 g = 0.002 g, inside ±0.004 g; 50.005 g − 50 g = 0.005 g, outside.
@pytest.mark.parametrize(
    ("zero", "indication", "error", "verdict"),
    [("0.001 g", "50.003 g", "0.002", "pass"), ("0.000 g", "50.005 g", "0.005", "fail")],
)
def test_span(client: Client, zero: str, indication: str, error: str, verdict: str) -> None:
    answer = client.check_span(
        instrument="MA-1",
        rounds=[{"load": ["W50"], "zero": zero, "indication": indication, "zero_after": zero}],
    )
    assert answer.check == "span"
    assert answer.verdict == answer.verdict_as_found == verdict
    assert answer.usable is (verdict == "pass")
    span_error = answer.criterion("span_error")
    assert (span_error.value, span_error.unit) == (Decimal(error), "g")
    assert (span_error.lower_limit, span_error.upper_limit) == (Decimal("-0.004"), Decimal("0.004"))
    assert answer.criterion("zero_return").value == 0


def test_the_budget_adds_up_in_decimals(client: Client) -> None:
    answer = client.check_span(
        instrument="MA-1",
        rounds=[{"load": ["W50"], "zero": "0.000 g", "indication": "50.001 g"}],
    )
    criterion = answer.criterion("span_error")
    total = sum(row.contribution**2 for row in criterion.budget if row.contribution is not None)
    assert criterion.standard_uncertainty is not None
    # Both sides are given with 10 significant digits.
    assert abs(total / criterion.standard_uncertainty**2 - 1) < Decimal("1e-8")


def test_linearity(client: Client) -> None:
    loads = [(["W20"], "20.001 g"), (["W50"], "50.002 g"), (["W50", "W20"], "70.005 g")]
    answer = client.check_linearity(
        instrument="MA-1",
        points=[
            {"load": load, "zero": "0.000 g", "indication": indication}
            for load, indication in loads
        ],
    )
    # Errors 0.001, 0.002 and 0.005 g: the last is outside ±0.004 g.
    assert answer.verdict == "fail"
    assert answer.criterion("point_error").value == Decimal("0.005")
    # From the line through zero and (70, 0.005): at 20 g 0.001 − 0.1/70, at 50 g 0.002 − 0.25/70
    # = −0.0015714… g, the larger.
    expected = Fraction(2, 1000) - Fraction(25, 7000)
    value = answer.criterion("terminal_nonlinearity").value
    assert value is not None
    assert abs(Fraction(value) - expected) < Fraction(1, 10**15)


def test_simulated_loss(client: Client) -> None:
    answer = client.check_simulated_loss(
        instrument="MA-1",
        initial={"load": ["W20", "W10"], "indication": q("30.000", "g")},
        final={"load": ["W20"], "indication": q("20.001", "g")},
    )
    # 100·(30.000 − 20.001)/30.000 − 100·10/30 = 33.33 − 33.33333… = −0.00333… %
    value = answer.criterion("loss_error").value
    assert value is not None
    assert abs(Fraction(value) + Fraction(1, 300)) < Fraction(1, 10**15)
    assert answer.verdict == "pass"
    assert answer.results["loss"] is not None
    assert "reveals" in answer.results


def test_short_answers(client: Client) -> None:
    answer = client.check_simulated_loss(
        instrument="MA-1",
        initial={"load": ["W20", "W10"], "indication": "30.000 g"},
        final={"load": ["W20"], "indication": "20.001 g"},
        detail="short",
    )
    assert answer.criterion("loss_error").budget == ()
    assert "reveals" not in answer.results


def test_nothing_judged_is_no_verdict(client: Client) -> None:
    answer = client.check_span(
        instrument="MA-1",
        profile=NOTHING_JUDGED,
        rounds=[{"load": ["W50"], "zero": "0.000 g", "indication": "50.001 g"}],
    )
    assert answer.verdict is None
    assert "nothing-judged" in {finding.code for finding in answer.findings}


def test_without_a_profile_the_built_in_one_is_named() -> None:
    with Client.embedded() as bare:
        answer = bare.check_span(
            instrument={"scale_interval": "0.001 g"},
            weights={"W50": {"nominal": "50 g", "weight_class": "OIML F1"}},
            rounds=[{"load": ["W50"], "zero": "0.000 g", "indication": "50.001 g"}],
        )
        assert answer.profile.id == bare.info()["default_profile"]["id"]
        assert answer.profile.digest == bare.info()["default_profile"]["digest"]


def test_labels_and_request_id_come_back(client: Client) -> None:
    labels = {"ticket": "K-12", "note": "José 李"}
    answer = client.check_span(
        instrument="MA-1",
        rounds=[{"load": ["W50"], "zero": "0.000 g", "indication": "50.001 g"}],
        labels=labels,
        request_id="K-12.a",
    )
    assert dict(answer.labels) == labels
    assert answer.request_id == "K-12.a"
    assert b"K-12.a" not in answer.raw


def test_the_same_request_has_the_same_bytes(client: Client) -> None:
    def once() -> bytes:
        return client.check_linearity(
            instrument="MA-1",
            points=[{"load": ["W50"], "zero": "0.000 g", "indication": "50.001 g"}],
        ).raw

    assert once() == once()


def test_all_faults_of_a_request_at_once(client: Client) -> None:
    faulty: Any = {
        "instrument": {"scale_interval": "0.001"},
        "weights": {"W50": {"nominal": "50 kilos"}},
        "rounds": [{"load": ["W50"], "zero": "0.000 g", "indication": "50,001 g"}],
        "colour": "green",
    }
    with pytest.raises(Invalid) as caught:
        client.evaluate("span", faulty, request_id="K-13")
    found = {error.pointer: error.code for error in caught.value.errors}
    assert found.keys() == {
        "/instrument/scale_interval",
        "/weights/W50/nominal",
        "/rounds/0/indication",
        "/colour",
    }
    assert found["/instrument/scale_interval"] == "unit-missing"
    assert found["/rounds/0/indication"] == "decimal-comma"
    assert caught.value.status == 422
    assert caught.value.request_id == "K-13"
    assert "/colour" in str(caught.value)


def test_other_refusals_have_their_class(client: Client) -> None:
    request = {
        "instrument": "MA-1",
        "rounds": [{"load": ["W50"], "zero": "0.000 g", "indication": "50.001 g"}],
    }
    with pytest.raises(NotFound):
        client.evaluate("no-such-kind", request)
    with pytest.raises(DigestDiffers):
        client.evaluate("span", {**request, "expect_profile_digest": "sha256:" + "0" * 64})
    with pytest.raises(ProfileNotUsable):
        client.evaluate(
            "span",
            {
                **request,
                "profile": {
                    "id": "x",
                    "revision": "1",
                    "rules": [{"limits": {"span_error": {"lower": "1 g", "upper": "-1 g"}}}],
                },
            },
        )
    with pytest.raises(TooLarge):
        client.evaluate("span", {**request, "method": "x" * 1024 * 1024})


def test_kinds_are_those_with_a_method(client: Client) -> None:
    kinds = [kind["check"] for kind in client.kinds()["checks"]]
    assert kinds[:3] == ["span", "linearity", "simulated-loss"]
    assert len(kinds) >= 8
    for kind in kinds:
        assert callable(getattr(client, f"check_{kind.replace('-', '_')}"))


def test_examples_of_the_service_can_be_sent_back(client: Client) -> None:
    for kind in client.kinds()["checks"]:
        with Client.embedded() as bare:
            answer = bare.evaluate(kind["check"], _thawed(kind["example"]))
        assert answer.check == kind["check"]
        assert answer.criteria


def _thawed(value: Any) -> Any:
    """Counts come as Decimal with an answer and go as int with a request."""
    if hasattr(value, "items"):
        return {name: _thawed(item) for name, item in value.items()}
    if isinstance(value, tuple):
        return [_thawed(item) for item in value]
    return int(value) if isinstance(value, Decimal) else value


def test_a_service_that_wants_a_key_refuses_without_one() -> None:
    from weighworthy.embedded import URL, embedded_session
    from weighworthy_service.web.app import create_app
    from weighworthy_service.web.settings import Settings

    app = create_app(Settings(anonymous="no"))
    with Client(URL, session=embedded_session(app)) as client, pytest.raises(KeyMissing):
        client.info()
