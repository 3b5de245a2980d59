"""What the README shows is run: its commands, its clients, its example output."""

import json
import os
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text("utf-8")
EXAMPLE_ADDRESS = "http://127.0.0.1:8000"


def block(mark):
    """The code block that follows an HTML comment in the README."""
    return re.search(rf"<!-- {mark} -->\n```\w+\n(.*?)```", README, re.DOTALL)[1]


def run(command, cwd=ROOT, **kwargs):
    return subprocess.run(
        command,
        check=False,
        cwd=cwd,
        capture_output=True,
        encoding="utf-8",
        timeout=120,
        **kwargs,
    )


def morning(*arguments, url=None, clean_environment):
    """The example script, as the README's first command ends."""
    script = shlex.split(block("run").rpartition("&&")[2])
    assert script[0] == ".venv/bin/python"
    environment = (
        clean_environment if url is None else {**clean_environment, "WEIGHWORTHY_URL": url}
    )
    return run([sys.executable, *script[1:], *arguments], env=environment)


@pytest.fixture
def clean_environment(monkeypatch):
    monkeypatch.delenv("WEIGHWORTHY_URL", raising=False)
    return dict(os.environ)


def test_first_command_prints_verdicts(clean_environment):
    done = morning(clean_environment=clean_environment)
    assert done.returncode == 0, done.stderr
    verdicts = re.findall(r"^  ([●◐◑■○–] [a-z ]+):", done.stdout, re.MULTILINE)
    # By hand: 9.05 mg off at 50 g, adjusted; a linear run; -0.001 %; -0.033 % of 0.04 %;
    # 16.74 % shown for 16.667 %; an overdue weight with a loss of 16.733 %.
    expected = ["● pass", "● pass", "● pass", "◐ conditional pass", "■ fail", "○ void"]
    assert verdicts == expected
    shown = re.search(r"```text\n(MA-07.*?)```", README, re.DOTALL)[1]
    assert shown.strip() in done.stdout


def test_gate_tells_that_a_balance_must_not_be_used(clean_environment):
    assert morning("--gate", clean_environment=clean_environment).returncode == 1


def test_same_verdicts_from_a_server(clean_environment, live_service):
    embedded = morning(clean_environment=clean_environment)
    served = morning(url=live_service, clean_environment=clean_environment)
    assert served.stdout == embedded.stdout


def test_refused_check_is_reported(clean_environment, tmp_path):
    checks = json.loads((ROOT / "examples/kestrel/monday.json").read_text("utf-8"))
    checks[0]["rounds"][0]["indication"] = "50,009 g"
    faulty = tmp_path / "checks.json"
    faulty.write_text(json.dumps(checks), "utf-8")
    done = morning(str(faulty), clean_environment=clean_environment)
    assert done.returncode == 2
    assert "/rounds/0/indication" in done.stdout


def test_ci_runs_the_second_command():
    """`.ci/run` takes the command out of the README; its pattern must find exactly that line."""
    (line,) = [row for row in block("test").splitlines() if row.startswith("python3")]
    assert "pytest" in line
    assert "<!-- test -->" in (ROOT / ".ci/run").read_text("utf-8")


def test_command(clean_environment, tmp_path):
    """Each line of the command block, on a copy of the example, in which it may write."""
    folder = tmp_path / "organisation"
    shutil.copytree(ROOT / "examples/organisation", folder)
    for line in block("command").splitlines():
        program, *arguments = shlex.split(line)
        assert program == "weighworthy"
        command = [sys.executable, "-m", "weighworthy.cli", *arguments]
        done = run(command, env=clean_environment, cwd=folder)
        assert done.returncode == 0, (line, done.stderr)
    assert "MA-07" in (folder / "card.html").read_text("utf-8")


def test_by_hand(clean_environment):
    """The steps that are shown are among those printed."""
    _, *arguments = shlex.split(block("by-hand"))
    done = run([sys.executable, "-m", "weighworthy.cli", *arguments], env=clean_environment)
    assert done.returncode == 0, done.stderr
    shown = re.search(r"<!-- by-hand -->.*?```text\n(.*?)```", README, re.DOTALL)[1]
    assert shown in done.stdout


def test_sitting(clean_environment):
    """The loss fails, and what is shown of it is printed."""
    program, *arguments = shlex.split(block("sitting"))
    assert program == "weighworthy"
    command = [sys.executable, "-m", "weighworthy.cli", *arguments]
    done = run(command, env=clean_environment, cwd=ROOT / "examples/kestrel")
    assert done.returncode == 1, done.stderr
    shown = re.search(r"<!-- sitting -->.*?```text\n(.*?)```", README, re.DOTALL)[1]
    assert shown in done.stdout


def test_plans(clean_environment, tmp_path):
    """As above, on a copy beside that of the site. One wanted tolerance is not honest: code 1."""
    for name in ("plans", "kestrel"):
        shutil.copytree(ROOT / "examples" / name, tmp_path / name)
    codes = []
    for line in block("plans").splitlines():
        program, *arguments = shlex.split(line)
        assert program == "weighworthy"
        command = [sys.executable, "-m", "weighworthy.cli", *arguments]
        done = run(command, env=clean_environment, cwd=tmp_path / "plans")
        assert done.stderr == "" or "profile written" in done.stderr
        codes.append(done.returncode)
    assert codes == [0, 1, 0, 0]
    assert block("plans-output") in done.stdout
    assert 'id = "oat-flakes"' in (tmp_path / "plans/oat_flakes.toml").read_text("utf-8")


def test_tables(clean_environment, tmp_path):
    """As above. One of the export's checks fails, which is what the exit code tells."""
    folder = tmp_path / "tables"
    shutil.copytree(ROOT / "examples/tables", folder)
    codes = []
    for line in block("tables").splitlines():
        program, *arguments = shlex.split(line)
        assert program == "weighworthy"
        command = [sys.executable, "-m", "weighworthy.cli", *arguments]
        codes.append(run(command, env=clean_environment, cwd=folder).returncode)
    assert codes == [0, 1, 1]
    sent = (folder / "harbour.csv").read_text("utf-8-sig").splitlines()
    judged = (folder / "judged.csv").read_text("utf-8-sig").splitlines()
    assert len(judged) == len(sent)
    for before, after in zip(sent[3:], judged[3:], strict=True):
        assert after.startswith(before + ";judged;simulated-loss;")
    assert 'check = "simulated-loss"' in (folder / "draft.toml").read_text("utf-8")
    summary = json.loads((folder / "answers.ndjson").read_text("utf-8").splitlines()[-1])["summary"]
    assert summary["complete"] is True
    assert summary["rows_judged"] == len(sent) - 3


def test_reports(clean_environment, tmp_path):
    """As above: a request judged on paper, and its kept answer drawn in German."""
    folder = tmp_path / "kestrel"
    shutil.copytree(ROOT / "examples/kestrel", folder)
    for line in block("reports").splitlines():
        program, *arguments = shlex.split(line)
        assert program == "weighworthy"
        command = [sys.executable, "-m", "weighworthy.cli", *arguments]
        done = run(command, env=clean_environment, cwd=folder)
        assert done.returncode == 0, (line, done.stderr)
    english, german = ((folder / f"{name}.html").read_text("utf-8") for name in ("loss", "verlust"))
    assert "Judged from the request for this report" in english
    assert "beim Wort genommen" in german
    assert "MA-07" in german


def test_records(clean_environment, tmp_path):
    """As above: a key, two records in a chain, and the chain verified."""
    folder = tmp_path / "kestrel"
    shutil.copytree(ROOT / "examples/kestrel", folder)
    for line in block("records").splitlines():
        command, _, file = line.partition(" > ")
        program, *arguments = shlex.split(command)
        assert program == "weighworthy"
        command = [sys.executable, "-m", "weighworthy.cli", *arguments]
        done = run(command, env=clean_environment, cwd=folder)
        assert done.returncode == 0, (line, done.stderr)
        if file:
            (folder / file).write_text(done.stdout, "utf-8")
    assert "● unbroken\n    2 records: 2 ok; 2 come out again" in done.stdout


def test_certificates(clean_environment, tmp_path):
    """As above: a table for a site file, and weights as a request has them."""
    folder = tmp_path / "certificates"
    shutil.copytree(ROOT / "examples/certificates", folder)
    for line in block("certificates").splitlines():
        program, *arguments = shlex.split(line)
        assert program == "weighworthy"
        command = [sys.executable, "-m", "weighworthy.cli", *arguments]
        done = run(command, env=clean_environment, cwd=folder)
        assert done.returncode == 0, (line, done.stderr)
    assert '[weights.A10]\nnominal = "10 g"' in (folder / "weights.toml").read_text("utf-8")
    assert list(json.loads(done.stdout)) == ["B20", "B05"]


@pytest.mark.needs_curl
@pytest.mark.skipif(shutil.which("curl") is None, reason="needs curl")
def test_tables_with_curl(live_service):
    command = block("tables-curl").replace(EXAMPLE_ADDRESS, live_service)
    done = run([*shlex.split(command), "--noproxy", "*"], cwd=ROOT / "examples/tables")
    assert done.returncode == 0, done.stderr
    assert done.stdout.count(";judged;simulated-loss;") == 40


@pytest.mark.needs_curl
@pytest.mark.skipif(shutil.which("curl") is None, reason="needs curl")
def test_curl(live_service):
    command = block("curl").replace("\\\n", " ").replace(EXAMPLE_ADDRESS, live_service)
    done = run([*shlex.split(command), "--noproxy", "*"])
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["verdict"] == "pass"


def test_python(live_service):
    code = block("python").replace(EXAMPLE_ADDRESS, live_service)
    done = run([sys.executable, "-c", code])
    assert done.returncode == 0, done.stderr
    # (12.001 - 10.001)/12.001 = 16.66528 %; expected 2/12.00006 = 16.66658 %: -0.0013.
    assert re.fullmatch(r"pass True -0\.0013\d+ ± 0\.017 %\n", done.stdout)


@pytest.mark.needs_pwsh
@pytest.mark.skipif(shutil.which("pwsh") is None, reason="needs a PowerShell")
@pytest.mark.parametrize(("end", "code"), [("10.001", 0), ("10.100", 1)])
def test_powershell(live_service, end, code):
    script = ["pwsh", "-NoProfile", "-File", "examples/simulated_loss.ps1", "-Url", live_service]
    done = run([*script, "-Start", "12.001", "-End", end])
    assert done.returncode == code, done.stdout + done.stderr
    assert "verdict: " in done.stdout
