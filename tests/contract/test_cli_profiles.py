"""The profile commands with the service inside: what they find, where, and their exit codes."""

import json
import re
from pathlib import Path

import pytest

from weighworthy import Client, ProfileFileError
from weighworthy.cli import main

ORGANISATION = Path(__file__).parents[2] / "examples/organisation"
SITE = ["--site", str(ORGANISATION / "site.toml")]
LOADS = ["--span", "H20", "--linearity", "H10", "--linearity", "H20+H10", "--loss", "H10+H2", "H10"]


@pytest.fixture(autouse=True)
def folder(tmp_path, monkeypatch):
    """A working directory with the organisation's profiles to work on."""
    for name in ("WEIGHWORTHY_URL", "WEIGHWORTHY_API_KEY"):
        monkeypatch.delenv(name, raising=False)
    (tmp_path / "tolerances").mkdir()
    for file in (ORGANISATION / "tolerances").iterdir():
        (tmp_path / "tolerances" / file.name).write_bytes(file.read_bytes())
    monkeypatch.chdir(tmp_path)
    return tmp_path / "tolerances"


def run(*arguments):
    return main(["profiles", *arguments])


def change(file, before, after):
    """Replace a text that is there once, and tell its line."""
    text = file.read_text("utf-8")
    assert text.count(before) == 1
    file.write_text(text.replace(before, after), "utf-8")
    return text[: text.index(before)].count("\n") + 1


def test_a_pull_request_without_faults_passes(capsys):
    assert run("review", "tolerances/*.toml", *SITE, *LOADS) == 0
    said = capsys.readouterr()
    found = re.findall(r"^(\S+): (\S+) usable$", said.err, re.MULTILINE)
    assert found == [
        ("tolerances/base.toml", "kmf-base@2026-01"),
        ("tolerances/harbour.toml", "kmf-harbour@2026-02"),
        ("tolerances/ridge.toml", "kmf-ridge@2026-02"),
    ]
    # One row for each of twelve balances and each criterion with a load at hand.
    assert len(re.findall(r"^MA-[0-9]+ +simulated-loss loss_error", said.out, re.MULTILINE)) == 36


@pytest.mark.parametrize(
    ("file", "before", "after", "code"),
    [
        ("harbour.toml", "loss_error", "los_error", "unknown-criterion"),
        ("ridge.toml", 'loosens = "', '# "', "loosens"),
        ("base.toml", 'target = "12 g"', 'target = "12"', "unit-missing"),
        ("base.toml", 'rule = "four-way"', 'rule = "fourway"', "not-one-of"),
        ("base.toml", 'id = "kmf-base"', 'id = "kmf-base', "malformed-toml"),
        ("base.toml", "warm_up", "warmup", "unknown-field"),
    ],
)
def test_a_fault_fails_with_its_line(folder, capsys, file, before, after, code):  # noqa: PLR0917
    line = change(folder / file, before, after)
    # What is not allowed without a reason is the limit two lines above it.
    line = {"loosens": line - 1}.get(code, line)
    assert run("review", f"tolerances/{file}", *SITE) == 1
    assert re.search(
        rf"^tolerances/{re.escape(file)}:{line}: {code}: .* \[error\]$",
        capsys.readouterr().out,
        re.MULTILINE,
    )


def test_a_fault_of_the_parent_is_told_at_its_own_line(folder, capsys):
    line = change(folder / "base.toml", "point_error", "pint_error")
    assert run("review", "tolerances/harbour.toml", *SITE) == 1
    said = f"tolerances/base.toml:{line}: unknown-criterion: /rules/2/limits/pint_error: "
    assert said in capsys.readouterr().out


def test_a_limit_that_rounding_alone_can_break_is_an_error(folder, capsys):
    # d = 1 mg of 12 g is 0.0083 %: more than 0.005 %.
    line = change(folder / "base.toml", '"0.04 %"', '"0.005 %"')
    arguments = ["--instrument", "MA-21", "--loss", "V10+V2", "V10"]
    assert run("review", "tolerances/base.toml", *SITE, *arguments) == 1
    errors = [row for row in capsys.readouterr().out.splitlines() if row.endswith("[error]")]
    assert [row.partition(": ")[0] for row in errors] == [f"tolerances/base.toml:{line}"]


def test_resolve_names_file_and_line_of_winner_and_loser(folder, capsys):
    arguments = ["--instrument", "MA-31", "--check", "simulated-loss", "--load", "R10+R2"]
    assert run("resolve", "tolerances/ridge.toml", *SITE, *arguments) == 0
    lines = capsys.readouterr().out.splitlines()
    won = next(i for i, line in enumerate(lines) if "limits.loss_error" in line)
    here = [
        change(folder / name, text, text)
        for name, text in (("ridge.toml", '"0.06 %"'), ("base.toml", '"0.04 %"'))
    ]
    wins, loses = '{ within = "0.06 %" }  (within ±0.06 %)', '{ within = "0.04 %" }'
    assert lines[won : won + 2] == [
        f"tolerances/ridge.toml:{here[0]}: limits.loss_error = {wins}",
        f"  tolerances/base.toml:{here[1]}: lost {loses}",
    ]


def test_resolve_as_json_tells_which_file_begins_where(capsys):
    arguments = ["--instrument", "MA-31", "--check", "span", "--json"]
    assert run("resolve", "tolerances/ridge.toml", *SITE, *arguments) == 0
    document = json.loads(capsys.readouterr().out)
    assert [part["file"] for part in document["parts"]] == [
        "tolerances/ridge.toml",
        "tolerances/base.toml",
    ]
    assert document["resolution"]["profile"]["id"] == "kmf-ridge"


def test_compare_two_revisions_and_past_checks(folder, capsys):
    change(folder / "base.toml", '"0.04 %"', '"0.03 %"')
    old = str(ORGANISATION / "tolerances/base.toml")
    past = ["--past", str(ORGANISATION / "past_checks.ndjson")]
    assert run("compare", old, "tolerances/base.toml", *SITE, *past, "--exit-code") == 1
    lines = capsys.readouterr().out.splitlines()
    # 0.01 % of 0.04 % is a quarter. Ten balances; the two fine ones have a limit of their own.
    assert lines[1] == (
        '  simulated-loss limits.loss_error: { within = "0.04 %" } -> { within = "0.03 %" }, '
        "tighter by 0.01 % (-25 %)"
    )
    assert len(lines[2].split(", ")) == 10
    counted = re.fullmatch(r"past checks: 300, of which (\d+) change, (\d+) stay, 0 .*", lines[3])
    assert int(counted[1]) + int(counted[2]) == 300
    rows = [line for line in lines if "past_checks.ndjson:" in line]
    assert len(rows) == int(counted[1]) > 0


def test_compare_names_what_it_could_not_judge(folder, capsys):
    past = folder / "past.ndjson"
    lines = (ORGANISATION / "past_checks.ndjson").read_text("utf-8").splitlines()[:2]
    past.write_text("\n".join([lines[0], '{"check": "span", "instrument": "MA-05"}']), "utf-8")
    old = str(ORGANISATION / "tolerances/base.toml")
    assert run("compare", old, "tolerances/harbour.toml", *SITE, "--past", str(past)) == 3
    assert re.search(rf"{past}:2: required: /rounds .*\[not judged\]", capsys.readouterr().out)


def test_new_certificates_change_verdicts_near_a_limit(capsys):
    arguments = [
        "--weights-after",
        str(ORGANISATION / "new_certificates.toml"),
        "--past",
        str(ORGANISATION / "past_checks.ndjson"),
    ]
    assert run("compare", "tolerances/base.toml", *SITE, *arguments, "--exit-code") == 1
    rows = [line for line in capsys.readouterr().out.splitlines() if "simulated-loss  2026" in line]
    assert rows
    # Only the valley's weights have new certificates.
    assert all(re.search(r"MA-2[1-4]", row) for row in rows)


def test_cards_in_every_form(tmp_path, capsys):
    arguments = ["tolerances/harbour.toml", *SITE, "--instrument", "MA-07", "--check"]
    loss = ["simulated-loss", "--initial", "H10+H2", "--final", "H10"]
    assert run("card", *arguments, *loss) == 0
    assert "kmf-harbour@2026-02" in capsys.readouterr().out
    assert run("card", *arguments, *loss, "-o", "card.html") == 0
    page = (tmp_path / "card.html").read_text("utf-8")
    assert page.lstrip().lower().startswith("<!doctype html>")
    assert "<script" not in page
    points = [part for load in ("H2", "H10", "H20", "H20+H10") for part in ("--load", load)]
    assert run("card", *arguments, "linearity", *points, "--json") == 0
    assert json.loads(capsys.readouterr().out)["profile"]["id"] == "kmf-harbour"


def test_card_for_a_day_after_the_weights_were_due(capsys):
    arguments = ["tolerances/harbour.toml", *SITE, "--instrument", "MA-07", "--check"]
    load = ["span", "--load", "H20", "--on", "2030-01-01"]
    assert run("card", *arguments, *load) == 1
    said = capsys.readouterr()
    assert "DO NOT START: THIS CHECK CANNOT COUNT" in said.out
    assert "no pass: H20 was due for calibration on" in said.err


def test_a_folder_that_is_served_and_one_that_is_broken(folder, capsys):
    assert run("list", "--profiles", "tolerances") == 0
    assert "kmf-ridge@2026-02" in capsys.readouterr().out
    assert run("get", "kmf-ridge", "--profiles", "tolerances") == 0
    whole = capsys.readouterr().out
    (folder / "twice.toml").write_bytes((folder / "ridge.toml").read_bytes())
    change(folder / "base.toml", "point_error", "pint_error")
    assert run("list", "--profiles", "tolerances") == 1
    said = capsys.readouterr()
    assert said.out == ""
    for name in ("base.toml", "twice.toml"):
        assert str(Path("tolerances", name)) in said.err
    with pytest.raises(ProfileFileError) as caught, Client.embedded(profiles=folder):
        pass
    assert any("pint_error" in fault for fault in caught.value.faults)
    # What was got is a profile without parents, in a file of its own.
    Path("whole.toml").write_text(whole, "utf-8")
    assert run("review", "whole.toml") == 0


@pytest.mark.parametrize(
    "command",
    [
        ["resolve", "tolerances/base.toml", "--instrument", "MA-07", "--check", "span"],
        ["compare", "tolerances/base.toml", "weighworthy-general", "--instrument", "MA-07"],
        ["compare", "weighworthy-general", "tolerances/base.toml", "--instrument", "MA-07"],
        [
            "card",
            "tolerances/base.toml",
            "--instrument",
            "MA-07",
            "--check",
            "span",
            "--load",
            "H20",
        ],
    ],
)
@pytest.mark.parametrize("after", ['rule = "fourway"', "rule = 4", "rule = "])
def test_a_broken_profile_is_a_finding_everywhere(folder, capsys, command, after):
    change(folder / "base.toml", 'rule = "four-way"', after)
    assert run(*command, *SITE) == 1
    assert "review` names file and line" in capsys.readouterr().err


def test_an_option_that_is_refused_is_wrong_usage(capsys):
    arguments = ["--instrument", "MA-07", "--check", "spam"]
    assert run("resolve", "tolerances/base.toml", *SITE, *arguments) == 2
    assert "--check: must be one of: " in capsys.readouterr().err
    assert run("review", "tolerances/base.toml", *SITE, "--span", "W99") == 2
    assert "--span: the weight 'W99' is not declared in weights" in capsys.readouterr().err


def test_compare_names_the_weight_that_nobody_declared(folder, capsys):
    past = folder / "past.ndjson"
    check = (ORGANISATION / "past_checks.ndjson").read_text("utf-8").splitlines()[0]
    assert check.count('["H50"]') == 1
    past.write_text(f"{check}\n{check.replace('H50', 'H51')}\n", "utf-8")
    assert (
        run("compare", "tolerances/base.toml", "weighworthy-general", *SITE, "--past", str(past))
        == 3
    )
    refused = f"{past}:2: weight-not-declared: /rounds/0/load/0 the weight 'H51' is not declared"
    assert refused in capsys.readouterr().out


def test_the_day_decides_what_a_name_means(folder, capsys):
    base = folder / "base.toml"
    text = base.read_text("utf-8").replace('revision = "2026-01"', 'revision = "2026-07"')
    assert "effective_from" in text
    (folder / "later.toml").write_text(
        re.sub("effective_from = .*", "effective_from = 2026-07-01", text), "utf-8"
    )
    arguments = ["kmf-base", *SITE, "--profiles", "tolerances", "--instrument", "MA-07"]
    for day, revision in (("2026-06-30", "2026-01"), ("2026-07-01", "2026-07")):
        assert run("resolve", *arguments, "--check", "span", "--on", day) == 0
        assert f"kmf-base@{revision} " in capsys.readouterr().out
    assert run("resolve", *arguments, "--check", "span") == 1
    said = capsys.readouterr().err
    assert "performed_on" in said
    assert "`--on YYYY-MM-DD`" in said
    assert said.count("which revision of 'kmf-base' is in force") == 1


def test_a_profile_that_is_not_there(capsys):
    assert run("review", "no-such-profile") == 1
    assert run("get", "no-such-profile") == 4
    assert "no-such-profile" in capsys.readouterr().err


def test_files_that_cannot_be_served_together_fail_a_pull_request(folder, capsys):
    """Each alone is sound; the service would not start on a folder that holds both."""
    text = (folder / "harbour.toml").read_text("utf-8")
    (folder / "harbour-copy.toml").write_text(text, "utf-8")
    (folder / "harbour-next.toml").write_text(text.replace('"2026-02"', '"2026-05"'), "utf-8")
    assert run("review", "tolerances/*.toml") == 1
    said = [line for line in capsys.readouterr().out.splitlines() if line.endswith("[error]")]
    # In the order of names: -copy, -next, and harbour.toml itself.
    assert [line.split(": ")[:2] for line in said] == [
        ["tolerances/harbour-next.toml", "ambiguous"],
        ["tolerances/harbour.toml", "name-taken"],
    ]
    with pytest.raises(ProfileFileError, match="harbour-copy"):
        Client.embedded(profiles=folder)
