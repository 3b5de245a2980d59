"""Past checks in groups: to the byte what one answer over all of them says."""

import json
from pathlib import Path
from typing import Any

import pytest

from weighworthy import Client, profile_groups

ORGANISATION = Path(__file__).parents[2] / "examples/organisation"
TIGHT = {
    "id": "tight",
    "revision": "1",
    "rules": [
        {"limits": {"loss_error": {"within": "0.02 %"}, "span_error": {"within": "2 mg"}}},
        {"methods": ["grist"], "limits": {"point_error": {"within": "1 mg"}}},
    ],
}


@pytest.fixture(scope="module")
def past() -> list[dict[str, Any]]:
    lines = (ORGANISATION / "past_checks.ndjson").read_text("utf-8").splitlines()[:90]
    checks = [json.loads(line) for line in lines]
    checks[7] = {"check": "span", "instrument": "MA-05"}
    checks[40] = {**checks[40], "method": "grist", "labels": {"log": "41"}}
    checks[70] = {**checks[70], "check": "no such check"}
    checks[71] = {**checks[71], "instrument": {"scale_interval": "1 mug"}}
    checks[72] = {**checks[72], "instrument": {"id": "MA-99", "scale_interval": "1 mg"}}
    return checks


@pytest.fixture
def client() -> Any:
    with Client.embedded(defaults=ORGANISATION / "site.toml") as client:
        yield client


# One balance given, or those of the checks, each once and in their order.
@pytest.mark.parametrize("instruments", [["MA-07"], []])
def test_groups_add_up_to_the_whole(
    client: Client, past: list[dict[str, Any]], monkeypatch: pytest.MonkeyPatch, instruments: Any
) -> None:
    unmet = {"nobody's": {"nominal": "5 g", "weight_class": "OIML F1"}}
    arguments: dict[str, Any] = {
        "instruments": instruments,
        "requests": past,
        "weights_after": {**unmet, "H10": {"nominal": "10 g", "weight_class": "OIML M1"}},
    }
    sides = (ORGANISATION / "tolerances/base.toml", TIGHT)
    told: list[tuple[int, int]] = []
    monkeypatch.setattr(profile_groups, "FIRST", 10**7)
    whole = client.profiles.compare(*sides, **arguments)
    monkeypatch.setattr(profile_groups, "FIRST", 8000)
    monkeypatch.setattr(profile_groups, "MOST", 8000)
    split = client.profiles.compare(*sides, **arguments, progress=lambda *d: told.append(d))
    assert split.raw == whole.raw
    assert len(told) > 5
    assert told[-1] == (90, 90)
    # There is something of everything in it.
    assert whole.verdicts is not None
    assert whole.verdicts["refused"] == 3
    assert whole.verdicts["changed"] > 3
    assert whole.verdicts["weights_not_met"] == {"before": (), "after": ("nobody's",)}
    assert any(row["requests"] > 20 for row in whole.verdicts["findings"])
    assert {row["method"] for row in whole.settings} == {None, "grist"}
    assert len({row["position"] for row in whole.settings}) == (1 if instruments else 13)


def test_groups_where_only_certificates_differ(
    client: Client, past: list[dict[str, Any]], monkeypatch: pytest.MonkeyPatch
) -> None:
    new = {"H10": {"nominal": "10 g", "weight_class": "OIML M1"}}
    monkeypatch.setattr(profile_groups, "FIRST", 10**7)
    whole = client.profiles.compare(requests=past, weights_after=new)
    monkeypatch.setattr(profile_groups, "FIRST", 8000)
    split = client.profiles.compare(requests=past, weights_after=new)
    assert split.raw == whole.raw
    assert (split.settings, split.verdicts is None) == ((), False)
