"""The command with the service inside it, and with one on a socket."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

from weighworthy.cli import main

ROOT = Path(__file__).parents[2]
LOSS = str(ROOT / "examples/kestrel/simulated_loss.json")
SITE = str(ROOT / "examples/kestrel/site.toml")


@pytest.fixture(autouse=True)
def clean(monkeypatch):
    for name in ("WEIGHWORTHY_URL", "WEIGHWORTHY_API_KEY"):
        monkeypatch.delenv(name, raising=False)


@pytest.fixture
def changed(tmp_path):
    """Writes the example's request with something else in it."""

    def write(**members):
        request = json.loads(Path(LOSS).read_text("utf-8"))
        file = tmp_path / "request.json"
        file.write_text(json.dumps({**request, "warm_up": "90 min", **members}), "utf-8")
        return str(file)

    return write


def test_a_check_in_words(changed, capsys):
    assert main(["check", "simulated-loss", changed(), "--site", SITE]) == 0
    said = capsys.readouterr().out
    # (12.001 - 10.001)/12.001 = 16.66528 %; expected 2/12.00006 = 16.66658 %: -0.0013.
    assert "MA-07  simulated-loss  2026-03-16T08:05:00+01:00" in said
    assert "  ● pass: use allowed" in said
    assert "-0.001 % ± 0.017 %, within ±0.04 %: ● pass" in said
    assert "profile kestrel-balances@2026-03 sha256:" in said


def test_a_check_that_fails(changed, capsys):
    # 2.021 g of 12.001 g are 16.84 %, 0.17 % too much.
    file = changed(final={"load": ["A10"], "indication": "9.980 g"})
    assert main(["check", "simulated-loss", file, "--site", SITE]) == 1
    assert "■ fail: use NOT allowed" in capsys.readouterr().out


def test_a_check_by_hand(changed, capsys):
    assert main(["check", "simulated-loss", changed(), "--site", SITE, "--explain"]) == 0
    said = capsys.readouterr().out
    assert "  ● pass: use allowed" in said
    # 100 (12.001 - 10.001) / 12.001 = 200000/12001; 10.00006 + 2 = 12.00006.
    assert "L = 100 · (I0 - I1) / I0 = 100 · (12.001 - 10.001) / 12.001 = 200000/12001 = " in said
    assert "m = m1 + m2 = 10.00006 + 2 = 12.00006 g" in said


def test_a_refusal_names_the_field(changed, capsys):
    file = changed(final={"load": ["A10"], "indication": "9,980 g"})
    assert main(["check", "simulated-loss", file]) == 4
    said = capsys.readouterr()
    assert "/final/indication: " in said.err
    assert said.out == ""


def test_a_profile_the_service_does_not_know(capsys):
    assert main(["check", "simulated-loss", LOSS, "--profile", "nowhere@1"]) == 1
    assert "nowhere" in capsys.readouterr().err


def test_same_bytes_from_a_server_and_from_inside(live_service):
    command = [sys.executable, "-m", "weighworthy.cli", "check", "simulated-loss", LOSS, "--json"]
    inside, served = (
        subprocess.run([*command, *more], capture_output=True, check=False, timeout=60)
        for more in ([], ["--url", live_service])
    )
    assert inside.returncode == served.returncode == 0
    assert inside.stdout == served.stdout
    assert json.loads(inside.stdout)["verdict"] == "pass"
