"""Sittings through the client, with the service inside."""

import json
from pathlib import Path

import pytest

from weighworthy import Client, ProblemError, ProtocolError, q
from weighworthy.cli import main
from weighworthy.sittings import read_sitting

KESTREL = Path(__file__).parents[2] / "examples/kestrel"
LOSS = {
    "check": "simulated-loss",
    "heating": False,
    "initial": {"load": ["A10", "A2"], "indication": q("12.000", "g")},
    "final": {"load": ["A10"], "indication": "10.000 g"},
}
ROUND = {"load": ["A50"], "zero": "0.000 g", "indication": "50.012 g", "zero_after": "0.000 g"}
SPAN = {"check": "span", "rounds": [ROUND]}
SITTING = {"instrument": "MA-07", "warm_up": "1 h", "performed_at": "2026-03-16T08:05:00+01:00"}


@pytest.fixture(scope="module")
def client():
    with Client.embedded(defaults=KESTREL / "site.toml") as client:
        yield client


def test_site_fills_instrument_weights_and_profile(client):
    sitting = client.evaluate_sitting({**SITTING, "checks": [SPAN, LOSS]})
    assert (sitting.verdict, sitting.usable) == ("fail", False)
    assert [answer.check for answer in sitting.answers] == ["span", "simulated-loss"]
    assert sitting.because[0].criterion == "span_error[0]"
    # A gain that is off cancels in the loss: 12.05 mg at 50 g.
    names = {one["cause"] for one in sitting.evidence["alone"]}
    assert "gain" in names
    with pytest.raises(TypeError):
        sitting.evidence["alone"] = ()


def test_answers_have_the_bytes_to_store(client):
    sitting = client.evaluate_sitting({**SITTING, "checks": [SPAN, LOSS]}, detail="short")
    for answer, check in zip(sitting.answers, (SPAN, LOSS), strict=True):
        alone = client.evaluate(check["check"], {**SITTING, **check}, detail="short")
        assert answer.criteria == alone.criteria
        assert answer.raw in sitting.raw
    assert read_sitting(sitting.raw) == sitting


def test_refused_and_other_answers(client):
    with pytest.raises(ProblemError) as caught:
        client.evaluate_sitting({**SITTING, "checks": [{"check": "spam"}]})
    assert caught.value.errors[0].pointer == "/checks/0/check"
    with pytest.raises(ProtocolError):
        read_sitting(b'{"verdict": "pass"}')


def test_report(client, tmp_path):
    sitting = {**SITTING, "checks": [SPAN, LOSS]}
    report = client.reports.of_sitting(sitting)
    assert "2 checks of one balance" in report.html
    kept = client.reports.of_answer(client.evaluate_sitting(sitting), language="de")
    assert "2 Prüfungen einer Waage" in kept.html
    asked, answered = tmp_path / "asked.json", tmp_path / "answered.json"
    asked.write_text(json.dumps(sitting), "utf-8")
    answered.write_bytes(client.evaluate_sitting(sitting).raw)
    site = ["--site", str(KESTREL / "site.toml")]
    for file in (asked, answered):
        assert main(["report", str(file), *site, "-o", str(tmp_path / "page.html")]) == 0
        assert "Report of a sitting" in (tmp_path / "page.html").read_text("utf-8")


def test_command(tmp_path, capsys):
    file = tmp_path / "sitting.json"
    file.write_text(json.dumps({**SITTING, "checks": [SPAN, LOSS]}), "utf-8")
    site = ["--site", str(KESTREL / "site.toml")]
    assert main(["sitting", str(file), *site]) == 1
    told = capsys.readouterr().out
    assert "■ fail: use NOT allowed" in told
    assert "what can be behind span_error[0] of check 1" in told
    assert "a constant gain error" in told
    assert main(["sitting", str(file), *site, "--json"]) == 1
    assert json.loads(capsys.readouterr().out)["verdict"] == "fail"
    file.write_text(json.dumps({**SITTING, "checks": [LOSS]}), "utf-8")
    assert main(["sitting", str(file), *site, "--quiet"]) == 0
    file.write_text("[]", "utf-8")
    assert main(["sitting", str(file)]) == 2
