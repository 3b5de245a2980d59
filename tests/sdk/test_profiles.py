"""What the client sends about profiles, and how it reads what comes back."""

import json
import pickle
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
import responses

from weighworthy import Client, ProfileFileError, ProtocolError, q
from weighworthy.profile_results import Place, Remark

URL = "https://service.example.org"
SITE = {
    "profile": "site-profile",
    "weights": {
        "W20": {"nominal": "20 g", "weight_class": "OIML F1"},
        "W10": {"nominal": "10 g", "weight_class": "OIML F1"},
    },
    "instruments": {
        "MA-1": {"scale_interval": "0.001 g"},
        "MA-2": {"scale_interval": "0.0001 g"},
    },
}
PROFILE = {
    "id": "harbour",
    "revision": "7",
    "rules": [{"checks": ["linearity"], "validity": {"points": {"at_least": 4}}}],
}
# Typed by hand after the published forms; the figures mean nothing.
REVIEW = {
    "profile": {"id": "harbour", "revision": "7", "digest": "sha256:00"},
    "well_formed": True,
    "errors": [],
    "remarks": [
        {
            "code": "shadowed-rule",
            "severity": "warning",
            "pointer": "/rules/0",
            "line": 4,
            "document": "harbour@7",
            "message": "A sentence.",
        }
    ],
    "judgement": [{"instrument": "MA-1", "upper_limit": 0.002, "grown_later": 1}],
}
BROKEN = {
    "profile": None,
    "well_formed": False,
    "errors": [{"pointer": "/rules/0/limit", "line": 3, "code": "unknown-field", "detail": "No."}],
    "remarks": [],
    "judgement": [],
}
RESOLUTION = {
    "profile": {"id": "harbour", "revision": "7", "digest": "sha256:00"},
    "settings": [
        {
            "name": "limits.loss_error",
            "value": {"within": "0.05 %"},
            "lower_limit": -0.05,
            "upper_limit": 0.05,
            "place": {"pointer": "/rules/1", "line": 12, "document": "harbour@7"},
            "lost": [
                {
                    "value": {"within": "0.1 %"},
                    "place": {"pointer": "/rules/0", "line": None, "document": "base@1"},
                }
            ],
        }
    ],
}
COMPARISON = {
    "settings": [
        {"instrument": "MA-1", "name": "limits.loss_error", "change": "tighter", "by": "0.02 %"},
        {"instrument": "MA-2", "name": "limits.loss_error", "change": "equal", "by": None},
    ],
    "verdicts": {"requests": 2, "changed": 1, "counts": {"pass -> fail": 1}, "changes": []},
}


@pytest.fixture
def mocked() -> Iterator[responses.RequestsMock]:
    with responses.RequestsMock(assert_all_requests_are_fired=False) as mock:
        yield mock


@pytest.fixture
def client() -> Iterator[Client]:
    with Client(URL, defaults=SITE, retries=0) as client:
        yield client


def answers(mocked: responses.RequestsMock, what: str, body: Any) -> None:
    mocked.post(f"{URL}/v1/profiles/{what}", json=body)


def sent(mocked: responses.RequestsMock) -> Any:
    return json.loads(mocked.calls[-1].request.body)


def test_review_of_a_document(mocked: responses.RequestsMock, client: Client) -> None:
    answers(mocked, "review", REVIEW)
    review = client.profiles.review(PROFILE, loads={"span": [["W20", "W10"]]})
    assert sent(mocked) == {
        "profile": PROFILE,
        "instruments": [
            {"id": "MA-1", "scale_interval": "0.001 g"},
            {"id": "MA-2", "scale_interval": "0.0001 g"},
        ],
        "weights": SITE["weights"],
        "loads": {"span": [["W20", "W10"]]},
    }
    assert review.usable
    assert review.remarks == (
        Remark("shadowed-rule", "warning", Place("/rules/0", 4, "harbour@7"), "A sentence."),
    )
    assert review.judgement[0]["upper_limit"] == Decimal("0.002")
    assert review.profile is not None
    assert review.profile.digest == "sha256:00"
    assert pickle.loads(pickle.dumps(review)) == review  # noqa: S301


def test_errors_of_a_profile_are_a_result(mocked: responses.RequestsMock, client: Client) -> None:
    answers(mocked, "review", BROKEN)
    review = client.profiles.review(PROFILE)
    assert not review.usable
    place = Place("/rules/0/limit", 3, None)
    assert review.errors == (Remark("unknown-field", "error", place, "No."),)


def test_a_remark_of_severity_error_makes_it_unusable(
    mocked: responses.RequestsMock, client: Client
) -> None:
    remark = {**REVIEW["remarks"][0], "severity": "error"}  # type: ignore[index]
    answers(mocked, "review", {**REVIEW, "remarks": [remark]})
    assert not client.profiles.review(PROFILE).usable


def test_named_instruments_and_own_weights(mocked: responses.RequestsMock, client: Client) -> None:
    answers(mocked, "review", REVIEW)
    own = {"W20": {"nominal": q(20, "g"), "weight_class": "OIML E2"}}
    client.profiles.review(
        "harbour@7", instruments=["MA-2", {"scale_interval": "1 mg"}], weights=own
    )
    assert sent(mocked) == {
        "profile": "harbour@7",
        "instruments": [{"id": "MA-2", "scale_interval": "0.0001 g"}, {"scale_interval": "1 mg"}],
        "weights": {**SITE["weights"], **own},  # type: ignore[dict-item]
    }
    with pytest.raises(ValueError, match="MA-3"):
        client.profiles.review("harbour", instruments=["MA-3"])


def test_a_file_goes_as_toml_with_its_parent(
    mocked: responses.RequestsMock, client: Client, tmp_path: Path
) -> None:
    answers(mocked, "review", REVIEW)
    (tmp_path / "base.toml").write_text('id = "base"\nrevision = "1"\nrules = []\n')
    file = tmp_path / "harbour.toml"
    file.write_text('id = "harbour"\nextends = "base@1"\n')
    review = client.profiles.review(file)
    assert sent(mocked)["profile_toml"] == (
        'id = "harbour"\n\n[extends]\nid = "base"\nrevision = "1"\nrules = []\n'
    )
    assert "profile" not in sent(mocked)
    # Line 4 of what was sent is the first of the parent's file.
    parent = str(tmp_path / "base.toml")
    assert review.remarks[0].place == Place("/rules/0", 1, "harbour@7", parent)
    assert pickle.loads(pickle.dumps(review)).remarks == review.remarks  # noqa: S301


def test_resolve(mocked: responses.RequestsMock, client: Client) -> None:
    answers(mocked, "resolve", RESOLUTION)
    resolution = client.profiles.resolve(
        "harbour", instrument="MA-1", check="simulated-loss", load=["W10"], method="A"
    )
    assert sent(mocked) == {
        "profile": "harbour",
        "instrument": {"id": "MA-1", "scale_interval": "0.001 g"},
        "check": "simulated-loss",
        "method": "A",
        "load": ["W10"],
        "weights": {"W10": SITE["weights"]["W10"]},  # type: ignore[index]
    }
    setting = resolution.setting("limits.loss_error")
    assert (setting.lower_limit, setting.upper_limit) == (Decimal("-0.05"), Decimal("0.05"))
    assert setting.place == Place("/rules/1", 12, "harbour@7")
    assert setting.lost == (({"within": "0.1 %"}, Place("/rules/0", None, "base@1")),)
    with pytest.raises(KeyError, match=r"limits\.loss_error"):
        resolution.setting("limits.span_error")


def test_compare_completes_past_requests(mocked: responses.RequestsMock, client: Client) -> None:
    answers(mocked, "compare", COMPARISON)
    past = {"check": "span", "instrument": "MA-1", "rounds": [{"load": ["W20"]}]}
    comparison = client.profiles.compare("a@1", PROFILE, instruments=[], requests=iter([past]))
    assert sent(mocked) == {
        "before": {"profile": "a@1", "weights": None},
        "after": {"profile": PROFILE, "weights": None},
        "instruments": [],
        "requests": [
            {
                "check": "span",
                "instrument": {"id": "MA-1", "scale_interval": "0.001 g"},
                "rounds": [{"load": ["W20"]}],
                "weights": {"W20": SITE["weights"]["W20"]},  # type: ignore[index]
            }
        ],
    }
    assert [row["instrument"] for row in comparison.changes] == ["MA-1"]
    assert comparison.verdicts is not None
    assert comparison.verdicts["counts"] == {"pass -> fail": 1}
    assert pickle.loads(pickle.dumps(comparison)) == comparison  # noqa: S301


def test_compare_of_certificates_keeps_each_own_profile(
    mocked: responses.RequestsMock, client: Client
) -> None:
    answers(mocked, "compare", COMPARISON)
    past = {"check": "span", "rounds": [{"load": ["W20"]}]}
    new = {"W20": {"nominal": "20 g", "weight_class": "OIML F2"}}
    client.profiles.compare(requests=[past, {**past, "profile": "its-own"}], weights_after=new)
    assert sent(mocked)["after"] == {"profile": None, "weights": new}
    assert [past["profile"] for past in sent(mocked)["requests"]] == ["site-profile", "its-own"]


def test_card_in_three_forms(mocked: responses.RequestsMock, client: Client) -> None:
    forms = {"json": "application/json", "html": "text/html", "text": "text/plain"}
    for form, media_type in forms.items():
        body = '{"passes": 0.1}' if form == "json" else "● pass"
        with responses.RequestsMock() as own:
            own.post(
                f"{URL}/v1/profiles/card", body=body, content_type=f"{media_type}; charset=utf-8"
            )
            card = client.profiles.card(
                "harbour", instrument="MA-1", check="span", load=["W20"], form=form
            )
            assert own.calls[0].request.headers["Accept"] == media_type
            assert sent(own) == {
                "profile": "harbour",
                "instrument": {"id": "MA-1", "scale_interval": "0.001 g"},
                "check": "span",
                "load": ["W20"],
                "weights": {"W20": SITE["weights"]["W20"]},  # type: ignore[index]
            }
        assert card.text == body
        assert card.data == ({"passes": Decimal("0.1")} if form == "json" else None)
        assert pickle.loads(pickle.dumps(card)) == card  # noqa: S301


def test_card_of_a_simulated_loss_takes_weights_of_both_loads(
    mocked: responses.RequestsMock, client: Client
) -> None:
    answers(mocked, "card", {})
    client.profiles.card(
        PROFILE, instrument="MA-1", check="simulated-loss", initial=["W20", "W10"], final=["W10"]
    )
    assert sent(mocked)["weights"] == SITE["weights"]


def test_html_where_text_was_asked_for_is_not_a_card(
    mocked: responses.RequestsMock, client: Client
) -> None:
    mocked.post(f"{URL}/v1/profiles/card", body="<p>log in</p>", content_type="text/html")
    with pytest.raises(ProtocolError, match="not text but text/html"):
        client.profiles.card("a", instrument="MA-1", check="span", load=["W20"], form="text")


@pytest.mark.parametrize(
    ("call", "body", "fault"),
    [
        ("review", {**REVIEW, "remarks": None}, "this is not what was asked for"),
        ("review", {"well_formed": True}, "profile is missing"),
        ("review", [], "this is not what was asked for"),
        ("review", {**REVIEW, "remarks": ["x"]}, "this is not what was asked for"),
        ("resolve", {**RESOLUTION, "settings": [{"name": "x"}]}, "value is missing"),
        ("resolve", {**RESOLUTION, "settings": 5}, "this is not what was asked for"),
        ("compare", {"settings": []}, "verdicts is missing"),
    ],
)
def test_other_json_is_a_protocol_error(
    mocked: responses.RequestsMock, client: Client, call: str, body: Any, fault: str
) -> None:
    answers(mocked, call, body)
    arguments: dict[str, Any] = {"instrument": "MA-1", "check": "span"} if call == "resolve" else {}
    with pytest.raises(ProtocolError, match=fault):
        getattr(client.profiles, call)("a", **arguments)


def test_list_and_get(mocked: responses.RequestsMock, client: Client) -> None:
    mocked.get(f"{URL}/v1/profiles", json={"profiles": [{"id": "harbour", "revision": "7"}]})
    assert client.profiles.list()["profiles"][0]["id"] == "harbour"
    mocked.get(f"{URL}/v1/profiles/harbour", json={"digest": "sha256:00", "document": PROFILE})
    for arguments, query in (
        (("harbour",), ""),
        (("harbour", "7"), "?revision=7"),
        (("harbour@7",), "?revision=7"),
        (("harbour@7", "8"), "?revision=8"),
    ):
        known = client.profiles.get(*arguments)
        assert str(mocked.calls[-1].request.url) == f"{URL}/v1/profiles/harbour{query}"
    # What was read can be sent: counts are ints again.
    answers(mocked, "review", REVIEW)
    client.profiles.review(known["document"])
    assert sent(mocked)["profile"] == PROFILE


@pytest.mark.parametrize("name", ["../checks", "", "a/b", "Harbour", "a" * 65, "a?b=c"])
def test_only_ids_go_into_an_address(client: Client, name: str) -> None:
    with pytest.raises(ValueError, match="is no profile id"):
        client.profiles.get(name)


def test_a_number_without_unit_is_named(client: Client, tmp_path: Path) -> None:
    rule = {"limits": {"loss_error": {"within": 0.05}}}
    with pytest.raises(TypeError, match=r"profile\.rules\[0\]\.limits\.loss_error\.within"):
        client.profiles.review({**PROFILE, "rules": [rule]})
    file = tmp_path / "a.json"
    file.write_text('{"id": "a", "rules": [{"limits": {"loss_error": {"within": 0.05}}}]}')
    with pytest.raises(ProfileFileError, match=r"a\.json.*within"):
        client.profiles.compare(file, "b")
