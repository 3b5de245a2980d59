"""The invented organisation of the examples: its files, its past checks, its roll-out."""

import json
import os
import re
import subprocess
import sys
import tomllib
from collections import Counter
from pathlib import Path

import pytest

from weighworthy import Client, load_profile

ROOT = Path(__file__).parents[2]
ORGANISATION = ROOT / "examples/organisation"
SITE = tomllib.loads((ORGANISATION / "site.toml").read_text("utf-8"))
PAST = (ORGANISATION / "past_checks.ndjson").read_text("utf-8").splitlines()


@pytest.fixture
def script(monkeypatch):
    """Runs an example; without an address it has the service inside."""
    monkeypatch.delenv("WEIGHWORTHY_URL", raising=False)

    def run(name, *arguments, **environment):
        return subprocess.run(
            [sys.executable, f"examples/{name}", *arguments],
            cwd=ROOT,
            env={**os.environ, **environment},
            capture_output=True,
            encoding="utf-8",
            check=False,
            timeout=120,
        )

    return run


@pytest.fixture(scope="module")
def client():
    with Client.embedded(
        defaults=ORGANISATION / "site.toml", profiles=ORGANISATION / "tolerances"
    ) as client:
        yield client


def test_three_sites_and_a_dozen_balances_of_three_models():
    balances = SITE["instruments"].values()
    assert len(balances) == 12
    assert {b["site"] for b in balances} == {"harbour", "valley", "ridge"}
    assert len({b["model"] for b in balances}) == 3
    assert all("invented" in b["model"] for b in balances)


def test_past_checks_are_what_their_script_writes(script):
    done = script("organisation/make_past_checks.py")
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines() == PAST


def test_the_folder_serves_base_and_sites(client):
    known = {f"{p['id']}@{p['revision']}": p for p in client.profiles.list()["profiles"]}
    assert known["kmf-base@2026-01"]["extends"] == ()
    for site in ("harbour", "ridge"):
        assert known[f"kmf-{site}@2026-02"]["extends"] == ("kmf-base@2026-01",)
    # The same profile from the folder and from the file has the same digest.
    review = client.profiles.review(ORGANISATION / "tolerances/ridge.toml", instruments=[])
    assert review.profile.digest == known["kmf-ridge@2026-02"]["digest"]


@pytest.mark.parametrize("name", ["base", "harbour", "ridge"])
def test_profiles_have_no_errors(client, name):
    review = client.profiles.review(ORGANISATION / f"tolerances/{name}.toml")
    assert review.usable
    assert review.profile.id == f"kmf-{name}"


def test_every_past_check_can_be_judged(client):
    verdicts = Counter()
    for line in PAST:
        request = json.loads(line)
        site = SITE["instruments"][request["instrument"]]["site"]
        profile = "kmf-base" if site == "valley" else f"kmf-{site}"
        answer = client.evaluate(request["check"], {**request, "profile": profile}, detail="short")
        verdicts[answer.verdict] += 1
    assert verdicts.total() == 300
    assert None not in verdicts
    assert "void" not in verdicts


def test_roll_out_counts_what_judging_anew_gives(script, client):
    done = script("roll_out.py")
    assert done.returncode == 0, done.stderr
    # Only the valley is judged by the base alone: its checks one by one, under both limits.
    old = load_profile(ORGANISATION / "tolerances/base.toml")
    text = json.dumps(old).replace('"0.04 %"', '"0.03 %"').replace("2026-01", "2026-04")
    new = json.loads(text)
    changed = Counter()
    for line in PAST:
        request = json.loads(line)
        if SITE["instruments"][request["instrument"]]["site"] == "valley":
            before, after = (
                client.evaluate(request["check"], {**request, "profile": p}, detail="short").verdict
                for p in (old, new)
            )
            if before != after:
                changed[f"{before} -> {after}".replace("-", " ")] += 1
    printed = re.findall(r"^    . (\S.*?) -> . (\S.*?): ([0-9]+)", done.stdout, re.MULTILINE)
    found = {f"{before} -> {after}".replace("-", " "): int(n) for before, after, n in printed}
    assert found == dict(changed)
    assert changed.total() > 0
    assert f"300 past checks of all sites, {changed.total()} would" in done.stdout
    # 0.04 % to 0.03 % is 0.01 % less; the fine balance has its own limit.
    assert re.findall(r"(MA-2.)  (tighter by 0\.01 %|equal)", done.stdout) == [
        ("MA-21", "tighter by 0.01 %"),
        ("MA-22", "tighter by 0.01 %"),
        ("MA-23", "tighter by 0.01 %"),
        ("MA-24", "equal"),
    ]
    assert not re.search(r"MA-[03].  tighter", done.stdout)


def test_rolled_out_profiles_can_be_served_beside_the_old(script, tmp_path):
    done = script("roll_out.py", "--write", str(tmp_path / "new"))
    assert done.returncode == 0, done.stderr
    for file in (ORGANISATION / "tolerances").iterdir():
        (tmp_path / f"old-{file.name}").write_bytes(file.read_bytes())
    with Client.embedded(profiles=tmp_path) as client:
        base = client.profiles.get("kmf-ridge@2026-04")
        assert base["extends"] == ("kmf-base@2026-04",)
        assert client.profiles.get("kmf-ridge", "2026-02")["extends"] == ("kmf-base@2026-01",)


def test_roll_out_against_a_server(script, live_service):
    embedded = script("roll_out.py")
    served = script("roll_out.py", WEIGHWORTHY_URL=live_service)
    assert served.returncode == 0, served.stderr
    assert served.stdout == embedded.stdout


def test_roll_out_with_other_arguments(script):
    done = script("roll_out.py", "--wrong")
    assert done.returncode == 1
    assert "not understood: --wrong" in done.stderr
