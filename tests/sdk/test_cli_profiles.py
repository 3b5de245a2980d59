"""What the profile commands send and print; the answers are typed by hand, figures mean nothing."""

import io
import json
import sys

import pytest
import responses

from weighworthy.cli import main

URL = "http://127.0.0.1:9"
SITE = """
[weights.A20]
nominal = "20 g"
[weights.A10]
nominal = "10 g"
[instruments.MA-1]
scale_interval = "1 mg"
[instruments.MA-2]
scale_interval = "1 mg"
"""
HARBOUR = 'id = "harbour"\nrevision = "7"\nextends = "base@1"\nrules = []\n'
BASE = 'id = "base"\nrevision = "1"\nrules = []\n'
REF = {"id": "harbour", "revision": "7", "digest": "sha256:0123456789abcdef"}


def remark(severity, pointer="/rules/0", line=4, document="harbour@7"):
    place = {"pointer": pointer, "line": line, "document": document}
    return {"code": f"a-{severity}", "severity": severity, **place, "message": "A sentence."}


CLEAN = {"profile": REF, "well_formed": True, "errors": [], "remarks": [], "judgement": []}
WARNED = {**CLEAN, "remarks": [remark("warning")]}
WRONG = {**CLEAN, "remarks": [remark("error")]}
BROKEN = {
    **CLEAN,
    "profile": None,
    "well_formed": False,
    "errors": [{"pointer": "", "line": 2, "code": "not-toml", "detail": "No."}],
}
JUDGED = {
    **CLEAN,
    "judgement": [
        {
            "instrument": "MA-1",
            "check": "span",
            "criterion": "span_error",
            "stage": "as-found",
            "load": 20,
            "lower_limit": -0.002,
            "upper_limit": 0.002,
            "unit": "g",
            "expanded_uncertainty": 0.0016,
            "tolerance_to_uncertainty": 1.25,
            "attainable": True,
            "false_rejection": {"one_set": 0.0123, "all_sets": 0.02},
            "false_acceptance": {"at": 1.5, "one_set": 0.11, "all_sets": 0.12},
            "false_failures_a_year": {"checks": 250, "at_least_one": 0.95},
            "sensible_scale_interval": 0.0005,
        }
    ],
}


@pytest.fixture(autouse=True)
def folder(tmp_path, monkeypatch):
    """A working directory with a site and two profiles, and no settings of the environment."""
    for name in ("WEIGHWORTHY_URL", "WEIGHWORTHY_API_KEY"):
        monkeypatch.delenv(name, raising=False)
    (tmp_path / "tolerances").mkdir()
    (tmp_path / "site.toml").write_text(SITE, "utf-8")
    (tmp_path / "tolerances/base.toml").write_text(BASE, "utf-8")
    (tmp_path / "tolerances/harbour.toml").write_text(HARBOUR, "utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture
def mocked():
    with responses.RequestsMock(assert_all_requests_are_fired=False) as mock:
        yield mock


def run(*arguments):
    return main(["profiles", *arguments, "--url", URL, "--site", "site.toml"])


def sent(mocked, index=-1):
    return json.loads(mocked.calls[index].request.body)


def answers(mocked, what, *bodies):
    for body in bodies:
        mocked.post(f"{URL}/v1/profiles/{what}", json=body)


def test_review_of_a_folder_names_file_and_line(mocked, capsys):
    answers(mocked, "review", BROKEN, WARNED)
    assert run("review", "tolerances/*.toml") == 1
    said = capsys.readouterr()
    assert said.out.splitlines() == [
        "tolerances/base.toml:2: not-toml: No. [error]",
        "tolerances/harbour.toml:4: a-warning: A sentence. [warning]",
    ]
    assert "tolerances/harbour.toml: harbour@7 usable" in said.err
    assert [sent(mocked, i)["profile_toml"].partition("\n")[0] for i in (0, 1)] == [
        'id = "base"',
        'id = "harbour"',
    ]


@pytest.mark.parametrize(
    ("body", "options", "code"),
    [
        (CLEAN, [], 0),
        (WARNED, [], 0),
        (WARNED, ["--strict"], 1),
        (WRONG, [], 1),
        (BROKEN, [], 1),
        ({**CLEAN, "remarks": [remark("note")]}, ["--strict"], 0),
    ],
)
def test_exit_code_of_a_review(mocked, body, options, code):
    answers(mocked, "review", body)
    assert run("review", "tolerances/harbour.toml", *options) == code


def test_quiet_leaves_errors_alone(mocked, capsys):
    both = {**CLEAN, "remarks": [remark("warning"), remark("error", line=3)]}
    answers(mocked, "review", {**both, "judgement": JUDGED["judgement"]})
    assert run("review", "tolerances/harbour.toml", "--quiet") == 1
    said = capsys.readouterr()
    assert said.out == "tolerances/harbour.toml:3: a-error: A sentence. [error]\n"
    assert said.err == ""


def test_places_in_a_parent_name_the_parents_file(mocked, capsys):
    # harbour.toml has four lines and base.toml begins at the sixth of what is sent.
    parent = remark("note", line=8, document="base@1")
    elsewhere = remark("note", line=None, document="other@2")
    answers(mocked, "review", {**CLEAN, "remarks": [parent, elsewhere, remark("note", line=None)]})
    assert run("review", "tolerances/harbour.toml") == 0
    assert sent(mocked)["profile_toml"].split("\n")[4:8] == ["[extends]", *BASE.split("\n")[:3]]
    assert capsys.readouterr().out.splitlines() == [
        "tolerances/base.toml:3: a-note: A sentence. [note]",
        "other@2 /rules/0: a-note: A sentence. [note]",
        "tolerances/harbour.toml /rules/0: a-note: A sentence. [note]",
    ]


def test_review_by_name_and_with_loads(mocked, capsys):
    answers(mocked, "review", JUDGED)
    loads = ["--span", "A20", "--linearity", "A10", "--linearity", "A20+A10"]
    assert run("review", "harbour@7", "--instrument", "MA-1", *loads, "--loss", "A20", "A10") == 0
    request = sent(mocked)
    assert request["profile"] == "harbour@7"
    assert [instrument["id"] for instrument in request["instruments"]] == ["MA-1"]
    assert request["loads"] == {
        "span": [["A20"]],
        "linearity": [["A10"], ["A20", "A10"]],
        "simulated-loss": {"initial": ["A20"], "final": ["A10"]},
    }
    (line,) = [row for row in capsys.readouterr().out.splitlines() if row.startswith("MA-1")]
    for figure in ("MA-1", "as-found", "20 g", "within ±2 mg", "1.6 mg", "1.2", "1.2 %", "11 %"):
        assert figure in line
    assert line.endswith("95 %               0.5 mg")


def test_review_with_loads_of_any_kind(mocked, capsys, tmp_path):
    answers(mocked, "review", JUDGED)
    file = tmp_path / "loads.toml"
    file.write_text('[blank-run]\nsample_mass = "5 g"\n', "utf-8")
    each = ["--load", "repeatability", "A20", "--load", "repeatability", "A20+A10"]
    assert run("review", "harbour@7", *each, "--loads", str(file), "--span", "A10") == 0
    assert sent(mocked)["loads"] == {
        "blank-run": {"sample_mass": "5 g"},
        "repeatability": [["A20"], ["A20", "A10"]],
        "span": [["A10"]],
    }


def test_loads_that_nobody_can_read(mocked, capsys, tmp_path):
    assert run("review", "harbour@7", "--load", "repeatability", "A20++") == 2
    assert "--load: 'A20++' is no load" in capsys.readouterr().err
    file = tmp_path / "loads.json"
    file.write_text("[]", "utf-8")
    assert run("review", "harbour@7", "--loads", str(file)) == 2
    assert "loads.json: an object is needed" in capsys.readouterr().err


def test_review_as_json_lines(mocked, capsys):
    answers(mocked, "review", CLEAN, BROKEN)
    assert run("review", "tolerances/*.toml", "--json") == 1
    rows = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert [row["profile"] for row in rows] == ["tolerances/base.toml", "tolerances/harbour.toml"]
    assert [row["review"] for row in rows] == [CLEAN, BROKEN]
    # For lines in what was sent: which file begins where.
    assert [(part["file"], part["line"]) for part in rows[1]["parts"]] == [
        ("tolerances/harbour.toml", 1),
        ("tolerances/base.toml", 6),
    ]


def test_a_pipeline_that_finds_no_file_must_not_pass(mocked, capsys):
    assert run("review", "tolerance/*.toml") == 2
    assert "no such file" in capsys.readouterr().err
    assert len(mocked.calls) == 0


def test_a_circle_is_a_finding(mocked, folder, capsys):
    (folder / "tolerances/base.toml").write_text(BASE + 'extends = "harbour@7"\n', "utf-8")
    assert run("review", "tolerances/harbour.toml") == 1
    said = "extends goes round in a circle: harbour@7 -> base@1 -> harbour@7"
    assert capsys.readouterr().out == (
        f"tolerances/harbour.toml:3: extends-cycle: {said} [error]\n"
    )


def test_profile_from_standard_input(mocked, monkeypatch, capsys):
    answers(mocked, "review", WARNED)
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(BASE.encode())))
    assert run("review", "-") == 0
    assert sent(mocked)["profile_toml"] == BASE
    assert "a-warning" in capsys.readouterr().out


def test_resolve_shows_winner_and_losers(mocked, capsys):
    lost = {"value": {"within": "0.1 %"}, "place": {"pointer": "/rules/2", "line": 8}}
    lost["place"]["document"] = "base@1"
    setting = {
        "name": "limits.loss_error",
        "value": {"within": "0.05 %"},
        "lower_limit": -0.05,
        "upper_limit": 0.05,
        "place": {"pointer": "/rules/1", "line": 2, "document": "harbour@7"},
        "lost": [lost],
    }
    default = {**setting, "name": "decision", "value": None, "place": None, "lost": []}
    default |= {"lower_limit": None, "upper_limit": None}
    answers(mocked, "resolve", {"profile": REF, "settings": [setting, default]})
    kind = {"check": "simulated-loss", "criteria": [{"name": "loss_error", "unit": "%"}]}
    mocked.get(f"{URL}/v1/checks", json={"checks": [kind]})
    arguments = ["--instrument", "MA-1", "--check", "simulated-loss", "--stage", "as-left"]
    file = "tolerances/harbour.toml"
    assert run("resolve", file, *arguments, "--load", "A20+A10") == 0
    request = sent(mocked, -2)  # after it the kinds with their units
    assert (request["check"], request["stage"]) == ("simulated-loss", "as-left")
    assert request["load"] == ["A20", "A10"]
    assert request["weights"].keys() == {"A20", "A10"}
    assert capsys.readouterr().out.splitlines() == [
        "harbour@7 sha256:0123456789abcdef",
        f'{file}:2: limits.loss_error = {{ within = "0.05 %" }}  (within ±0.05 %)',
        '  tolerances/base.toml:3: lost { within = "0.1 %" }',
        "built in: decision = –",
    ]


def comparison(instrument="MA-1", refused=()):
    row = {
        "instrument": instrument,
        "check": "simulated-loss",
        "stage": None,
        "method": None,
        "name": "limits.loss_error",
        "load": None,
        "before": {"within": "0.05 %"},
        "after": {"within": "0.03 %"},
        "change": "tighter",
        "by": "0.02 %",
        "percent": -40,
    }
    changed = {
        "index": 1,
        "check": "simulated-loss",
        "before": "pass",
        "after": "fail",
        "criterion": "loss_error",
    }
    finding = {"code": "weak-ratio", "severity": "warning", "change": "appeared", "requests": 2}
    rows = [row, {**row, "instrument": "MA-2"}, {**row, "change": "equal", "by": None}]
    return {
        "settings": rows,
        "rules_not_reached": {
            "before": [],
            "after": [{"pointer": "/rules/7", "line": None, "document": "base@1"}],
        },
        "verdicts": {
            "requests": 2,
            "changed": 1,
            "unchanged": 1 - len(refused),
            "refused": len(refused),
            "counts": {"pass -> fail": 1},
            "changes": [changed],
            "findings": [finding],
            "refusals": list(refused),
            "weights_not_met": {"before": [], "after": ["A77"]},
        },
    }


NOTHING = {"settings": [], "rules_not_reached": {"before": [], "after": []}, "verdicts": None}
REFUSED = {"index": 0, "errors": [{"pointer": "/rounds", "code": "required", "detail": "No."}]}


@pytest.fixture
def past(folder):
    rows = [{"check": "span"}, {"check": "simulated-loss", "instrument": "MA-2"}]
    (folder / "past.ndjson").write_text("\n\n".join(map(json.dumps, rows)), "utf-8")
    return ["--past", "*.ndjson"]


def test_compare_prints_settings_and_verdicts(mocked, past, capsys):
    answers(mocked, "compare", comparison())
    assert run("compare", "base@1", "tolerances/base.toml", *past) == 0
    request = sent(mocked)
    assert request["before"]["profile"] == "base@1"
    assert request["after"]["profile_toml"] == BASE
    assert [r["check"] for r in request["requests"]] == ["span", "simulated-loss"]
    said = capsys.readouterr().out.splitlines()
    change = '{ within = "0.05 %" } -> { within = "0.03 %" }, tighter by 0.02 % (-40 %)'
    assert said[:6] == [
        "settings: 3 compared, 2 differ",
        f"  simulated-loss limits.loss_error: {change}",
        "      MA-1, MA-2",
        "  not compared, it applies to none of these balances: base@1 /rules/7 (after)",
        "past checks: 2, of which 1 changes, 1 stays, 0 could not be judged",
        "  1 × pass -> fail",
    ]
    assert said[7].split("  ")[1:3] == ["past.ndjson:3", "MA-2"]
    assert all(word in said[7] for word in ("● pass", "■ fail", "loss_error"))
    assert said[8:] == [
        "  warning weak-ratio appeared: 2 checks",
        "  no check has these weights of after: A77",
    ]


@pytest.mark.parametrize(
    ("options", "body", "code"),
    [
        ([], comparison(), 0),
        (["--exit-code"], comparison(), 1),
        (["--exit-code"], NOTHING, 0),
        ([], comparison(refused=[REFUSED]), 3),
    ],
)
def test_exit_code_of_a_comparison(mocked, past, options, body, code):
    answers(mocked, "compare", body)
    assert run("compare", "a@1", "a@2", *past, *options) == code


def test_a_check_that_cannot_be_judged_is_named(mocked, past, capsys):
    answers(mocked, "compare", comparison(refused=[REFUSED]))
    run("compare", "a@1", "a@2", *past)
    assert "past.ndjson:1: required: /rounds No. [not judged]" in capsys.readouterr().out


def test_new_certificates(mocked, folder):
    answers(mocked, "compare", NOTHING)
    (folder / "new.toml").write_text('[weights.A20]\nnominal = "20 g"\ndue_on = 2027-01-31\n')
    assert run("compare", "base@1", "--weights-after", "new.toml") == 0
    request = sent(mocked)
    assert request["before"]["profile"] == request["after"]["profile"] == "base@1"
    assert request["after"]["weights"] == {"A20": {"nominal": "20 g", "due_on": "2027-01-31"}}
    assert run("compare", "base@1", "--weights-after", "tolerances/base.toml") == 2
    assert run("compare", "base@1") == 2


def cards(mocked, document):
    """A service that has the card in every form."""
    forms = {
        "application/json": json.dumps(document),
        "text/plain": "between 1 and 2\n",
        "text/html": "<p>●</p>",
    }

    def card(request):
        media_type = request.headers["Accept"].partition(",")[0].partition(";")[0]
        return 200, {"Content-Type": media_type}, forms[media_type].encode()

    # The type stands in the headers; one given here would come on top of it.
    mocked.add_callback("POST", f"{URL}/v1/profiles/card", card, content_type=None)


CARD = ["base@1", "--instrument", "MA-1", "--check"]


def test_card_goes_to_paper_or_screen(mocked, folder, capsys):
    cards(mocked, {"can_pass": True, "obstacles": []})
    assert run("card", *CARD, "span", "--load", "A20", "--occasion", "moved") == 0
    assert capsys.readouterr().out == "between 1 and 2\n"
    assert sent(mocked)["load"] == ["A20"]
    assert sent(mocked)["occasion"] == "moved"
    loss = ["--initial", "A20+A10", "--final", "A10"]
    assert run("card", *CARD, "simulated-loss", *loss, "-o", "card.html") == 0
    assert (folder / "card.html").read_text("utf-8") == "<p>●</p>\n"
    points = ["--load", "A10", "--load", "A20"]
    assert run("card", *CARD, "linearity", *points, "--json") == 0
    assert sent(mocked)["load"] == [["A10"], ["A20"]]
    assert capsys.readouterr().err == ""
    assert run("card", *CARD, "span", "--json", "--html") == 2


@pytest.mark.parametrize("form", [[], ["--html"], ["--json"]])
def test_card_of_a_check_that_cannot_pass_is_a_finding(mocked, folder, capsys, form):
    cards(mocked, {"can_pass": False, "obstacles": ["A20 was due for calibration on 2026-01-31"]})
    assert run("card", *CARD, "span", "--load", "A20", *form) == 1
    said = capsys.readouterr()
    assert said.err == "no pass: A20 was due for calibration on 2026-01-31\n"
    assert said.out != ""


def test_list_and_get(mocked, capsys):
    row = {**REF, "title": None, "effective_from": "2026-03-01", "effective_to": None}
    mocked.get(f"{URL}/v1/profiles", json={"profiles": [row]})
    assert run("list") == 0
    line = capsys.readouterr().out.splitlines()[1]
    assert line.split() == ["harbour@7", "2026-03-01", "sha256:0123456789ab"]
    assert run("list", "--json") == 0
    assert json.loads(capsys.readouterr().out) == {"profiles": [row]}
    document = {"id": "harbour", "revision": "7", "rules": [{"schedule": {"every": "day"}}]}
    known = {**row, "document": document}
    mocked.get(f"{URL}/v1/profiles/harbour", json=known)
    assert run("get", "harbour@7") == 0
    assert capsys.readouterr().out == (
        'id = "harbour"\nrevision = "7"\n\n[[rules]]\nschedule = { every = "day" }\n'
    )
    assert run("get", "harbour", "--json") == 0
    assert json.loads(capsys.readouterr().out) == known


def test_a_file_that_cannot_be_read_does_not_hide_the_others(mocked, folder, capsys):
    answers(mocked, "review", WARNED)
    (folder / "tolerances/a1.toml").write_bytes('id = "a"\ntitle = "Mühle"\n'.encode("cp1252"))
    (folder / "tolerances/a2.toml").write_text('id = "b"\n', "utf-16")
    (folder / "tolerances/a3.toml").write_bytes(b"#" * (256 * 1024 + 1))
    (folder / "tolerances/a4.toml").write_text('id = "d"\nrevision = "1"\nextends = "d@1"\n')
    assert run("review", "tolerances") == 1
    said = capsys.readouterr().out.splitlines()
    assert [line.split(": ")[:2] for line in said[:4]] == [
        ["tolerances/a1.toml:2", "not-utf-8"],
        ["tolerances/a2.toml:1", "not-utf-8"],
        ["tolerances/a3.toml:1", "too-large"],
        ["tolerances/a4.toml:3", "extends-cycle"],
    ]
    assert all(line.endswith(" [error]") for line in said[:4])
    # The mocked service gives every file one name, which is told beside it.
    others = list(dict.fromkeys(line.partition(":")[0] for line in said[4:]))
    assert others == ["tolerances/base.toml", "tolerances/harbour.toml"]
    assert len(mocked.calls) == 2
    assert run("review", "tolerances/a1.toml", "--json") == 1
    (row,) = map(json.loads, capsys.readouterr().out.splitlines())
    assert (row["profile"], row["review"]) == ("tolerances/a1.toml", None)
    assert row["faults"] == [said[0]]


def refusal(code, pointer, slug="invalid", detail="No."):
    errors = [{"pointer": pointer, "code": code, "detail": detail}]
    return {
        "status": 422,
        "content_type": "application/problem+json",
        "body": json.dumps(
            {
                "type": f"/problems/{slug}",
                "title": "Refused",
                "status": 422,
                "detail": f"{pointer}: {detail}",
                "errors": errors,
            }
        ),
    }


def test_a_name_that_is_not_known_does_not_hide_the_others(mocked, capsys):
    url = f"{URL}/v1/profiles/review"
    mocked.post(url, **refusal("unknown-profile", "/profile", "profile-not-usable"))
    answers(mocked, "review", WARNED)
    assert run("review", "nope@1", "tolerances/base.toml") == 1
    assert capsys.readouterr().out.splitlines()[0] == "nope@1: unknown-profile: No. [error]"
    assert len(mocked.calls) == 2


def test_what_is_no_file_is_wrong_usage(mocked, folder, capsys):
    (folder / "empty").mkdir()
    for name in ("/dev/null", "empty"):
        assert run("review", name) == 2
        assert name in capsys.readouterr().err
    for name in ("/dev/null", "./tolerances"):
        assert run("resolve", name, "--instrument", "MA-1", "--check", "span") == 2
        assert f"{name}: not a file" in capsys.readouterr().err
    assert len(mocked.calls) == 0


@pytest.mark.parametrize(
    ("pointer", "option"),
    [
        ("/check", "--check"),
        ("/performed_on", "--on"),
        ("/stage", "--stage"),
        ("/load/0", "--load"),
    ],
)
def test_an_option_that_is_refused_is_wrong_usage(mocked, capsys, pointer, option):
    mocked.post(f"{URL}/v1/profiles/resolve", **refusal("not-one-of", pointer))
    assert run("resolve", "base@1", "--instrument", "MA-1", "--check", "spam") == 2
    assert capsys.readouterr().err == f"weighworthy: {option}: No.\n"


def test_loads_that_are_refused_are_wrong_usage(mocked, capsys):
    mocked.post(f"{URL}/v1/profiles/review", **refusal("weight-not-declared", "/loads/span/0/0"))
    assert run("review", "base@1", "--span", "W99") == 2
    assert capsys.readouterr().err == "weighworthy: --span: No.\n"


def test_what_the_site_says_wrong_is_a_refusal_told_once(mocked, capsys):
    mocked.post(f"{URL}/v1/profiles/review", **refusal("unit-missing", "/instruments/0/capacity"))
    assert run("review", "base@1") == 4
    assert capsys.readouterr().err.count("/instruments/0/capacity: No.") == 1


@pytest.mark.parametrize("day", ["2026-13-01", "2026-02-30", "20260301", "today", "2026-3-1"])
def test_a_day_that_there_is_not(mocked, capsys, day):
    with pytest.raises(SystemExit) as caught:
        run("resolve", "base", "--instrument", "MA-1", "--check", "span", "--on", day)
    assert caught.value.code == 2
    assert f"'{day}' is no day" in capsys.readouterr().err


def test_the_day_goes_with_every_question(mocked):
    answers(mocked, "review", CLEAN)
    answers(mocked, "resolve", {"profile": REF, "settings": []})
    answers(mocked, "compare", NOTHING)
    day = ["--on", "2026-03-31"]
    assert run("review", "base", *day) == 0
    assert run("resolve", "base", "--instrument", "MA-1", "--check", "span", *day) == 0
    assert run("compare", "base", "base@1", *day) == 0
    assert [sent(mocked, i)["performed_on"] for i in range(3)] == ["2026-03-31"] * 3


def test_a_name_that_needs_a_day_says_which_option(mocked, capsys):
    body = refusal("revision-open", "/profile", "profile-not-usable")
    mocked.post(f"{URL}/v1/profiles/resolve", **body)
    assert run("resolve", "base", "--instrument", "MA-1", "--check", "span") == 1
    assert "`--on YYYY-MM-DD`" in capsys.readouterr().err


def test_a_past_check_of_an_unknown_balance_is_named_by_its_line(mocked, folder, capsys):
    rows = [{"check": "span"}, {"check": "span", "instrument": "MA-9"}]
    (folder / "past.ndjson").write_text("\n\n".join(map(json.dumps, rows)), "utf-8")
    assert run("compare", "a@1", "a@2", "--past", "past.ndjson") == 2
    assert "weighworthy: past.ndjson:3: instrument 'MA-9' is not" in capsys.readouterr().err


def test_progress_is_for_terminals_only(mocked, folder, monkeypatch, capsys):
    row = {"check": "span", "labels": {"x": "x" * 20_000}}
    (folder / "past.ndjson").write_text("\n".join([json.dumps(row)] * 2), "utf-8")
    one = {**comparison()["verdicts"], "requests": 1, "changed": 0, "unchanged": 1, "changes": []}
    one |= {"unchanged_counts": {"pass": 1}, "counts": {}, "findings": []}
    answers(
        mocked,
        "compare",
        *[NOTHING, {**NOTHING, "verdicts": one}, {**NOTHING, "verdicts": one}] * 2,
    )
    assert run("compare", "a@1", "a@2", "--past", "past.ndjson") == 0
    said = capsys.readouterr()
    assert said.err == ""
    assert "past checks: 2, of which 0 change, 2 stay, 0 could not be judged" in said.out
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True)
    assert run("compare", "a@1", "a@2", "--past", "past.ndjson") == 0
    assert "\rpast checks: 1 of 2" in capsys.readouterr().err
