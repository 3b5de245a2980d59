"""Records across client and service, with the profiles of the example organisation."""

import json
from pathlib import Path

from weighworthy import Client

FOLDER = Path(__file__).parents[2] / "examples" / "organisation"


def test_checks_of_an_organisation_by_all_of_its_profiles() -> None:
    """Profiles that build on others and loosen them: judged where they are known, in records that
    verify where they are not."""
    lines = (FOLDER / "past_checks.ndjson").read_text("utf-8").splitlines()
    requests = [json.loads(line) for line in lines]
    assert {request["check"] for request in requests} >= {"span", "linearity", "simulated-loss"}
    site, tolerances = FOLDER / "site.toml", FOLDER / "tolerances"
    with (
        Client.embedded(profiles=tolerances, defaults=site) as laboratory,
        Client.embedded() as auditor,
    ):
        known = laboratory.profiles.list()["profiles"]
        assert any(profile["extends"] for profile in known)
        for position, profile in enumerate(known):
            name = f"{profile['id']}@{profile['revision']}"
            for request in requests[position::97]:
                kind = request["check"]
                asked = {k: v for k, v in request.items() if k != "check"} | {"profile": name}
                record = laboratory.records.seal(kind, asked)
                told = auditor.records.verify(record)
                assert (told.agrees, told.others) == (True, ()), (name, told.reasons)
                assert record.data["profile"]["id"] == profile["id"]
