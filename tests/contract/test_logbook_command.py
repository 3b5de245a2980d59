"""The command, its examples and a client, on the simulated logbook of the invented mill."""

import csv
import io
import json
import os
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from weighworthy import Client
from weighworthy.cli import main
from weighworthy.cli_logbook_support import as_csv
from weighworthy_service.tables.added import harmless

FOLDER = Path(__file__).parents[2] / "examples/logbook"
# The weekly span check of MA-41 has failed three minutes before; nobody has done anything yet.
AT = "2025-05-12T06:15:00+02:00"
QUESTIONS = ("status", "support", "drift", "intervals", "signals")


@pytest.fixture(autouse=True)
def clean(monkeypatch):
    for name in ("WEIGHWORTHY_URL", "WEIGHWORTHY_API_KEY"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("COLUMNS", "80")


@pytest.fixture(scope="module")
def mill(tmp_path_factory):
    """The logbook and its results, as the examples write them."""
    folder = tmp_path_factory.mktemp("mill")
    sys.path.insert(0, str(FOLDER))
    try:
        from invented_log import MOMENT, write_log
    finally:
        sys.path.remove(str(FOLDER))
    assert MOMENT == AT
    return write_log(folder)


@pytest.fixture(scope="module")
def rows(mill):
    return mill[0].read_text("utf-8").splitlines()[:9]


@pytest.fixture
def untidy(tmp_path, rows):
    """Writes the first lines of the logbook, changed."""

    def written(change=lambda lines: lines, encode=lambda text: text.encode(), **head):
        first = {**json.loads(rows[0]), **head}
        first = {name: value for name, value in first.items() if value is not None}
        path = tmp_path / "log.ndjson"
        path.write_bytes(encode("\n".join(change([json.dumps(first), *rows[1:]]))))
        return str(path)

    return written


@pytest.fixture
def said(capsys):
    def run(*arguments):
        code = main(["logbook", *map(str, arguments)])
        out, err = capsys.readouterr()
        assert "Traceback" not in err
        return code, out, err

    return run


def test_a_failed_check_ends_use(mill, said):
    code, out, _ = said("status", mill[0], "--at", AT)
    assert code == 1
    assert re.search(r"MA-41  ■ out of service  since Mon 12 May 06:12\n +Repeat span", out)
    assert re.search(r"MA-42  ● in service      until Mon 12 May 10:00\n", out)
    assert out.endswith("Must not be used, and no entry takes them out of service: MA-41.\n")
    assert said("status", mill[0], "--at", AT, "--instrument", "MA-42", "--quiet") == (0, "", "")
    # Two minutes before that check nothing was known of it.
    assert said("status", mill[0], "--at", "2025-05-12T06:10:00+02:00", "--quiet")[0] == 0


def test_what_an_entry_has_taken_out_is_in_order(mill, said, tmp_path):
    book = tmp_path / "log.ndjson"
    lines = [json.loads(line) for line in mill[0].read_text("utf-8").splitlines()]
    out = {"id": "X", "kind": "out-of-service", "at": AT, "instrument": "MA-41"}
    kept = [one for one in lines if one["at"] <= AT or one is lines[0]]
    book.write_text("\n".join(json.dumps(one) for one in [*kept, out]), "utf-8")
    assert said("status", book, "--at", AT, "--quiet")[0] == 0


def test_results_since_the_last_pass_are_in_doubt(mill, said):
    book, results = mill
    code, out, _ = said("support", book, "--at", AT, "--results", results)
    assert code == 1
    # By the rule: all of MA-41 after its last span check that passed.
    past = [json.loads(line) for line in book.read_text("utf-8").splitlines()[1:]]
    spans = [
        one["at"]
        for one in past
        if one["instrument"] == "MA-41" and one.get("request", {}).get("check") == "span"
    ]
    before = max(at for at in spans if at < "2025-05-12T06:12")
    doubtful = {
        one["id"]
        for one in map(json.loads, results.read_text("utf-8").splitlines())
        if one["instrument"] == "MA-41" and before < one["at"] <= AT
    }
    assert len(doubtful) > 20
    assert set(re.findall("R-MA-41-[0-9]+", out)) == doubtful
    assert f"□ assessment needed  MA-41: {len(doubtful)} results in doubt" in out
    code, out, _ = said("support", book, "--at", AT, "--results", results, "--csv")
    table = list(csv.DictReader(io.StringIO(out, newline="")))
    assert {row["result"] for row in table if row["support"] == "in-doubt"} == doubtful
    assert len(table) > len(doubtful)
    # At the end of the two months a person has assessed them.
    assert said("support", book, "--results", results, "--quiet")[0] == 0


@pytest.mark.parametrize("width", [80, 120])
@pytest.mark.parametrize("question", QUESTIONS)
def test_every_answer_fits_the_terminal(mill, said, monkeypatch, question, width):
    monkeypatch.setenv("COLUMNS", str(width))
    book, results = mill
    options = {
        "support": ["--results", results, "--at", AT],
        "drift": ["--chart", "--rule", "1", "--baseline", "15"],
        "intervals": ["--reliability", "90 %"],
        "signals": ["--due-within", "300"],
    }.get(question, [])
    for more in ([], ["--why"]):
        code, out, err = said(question, book, *options, *more)
        assert (code, err) == (question == "support", "")
        assert out.count("\n") > 5
        assert max(map(len, out.splitlines())) <= width
        assert not re.search("[0-9]T[0-9]{2}:", out)


def test_advice_gives_its_exit_code_when_asked(mill, said):
    book = mill[0]
    answer = json.loads(said("drift", book, "--json")[1])
    assert answer["summary"]["drifting"] > 0
    assert said("drift", book, "--exit-code", "--quiet")[0] == 1
    assert said("drift", book, "--exit-code", "--quiet", "--instrument", "MA-44")[0] == 0
    assert said("signals", book, "--exit-code", "--quiet", "--due-within", "300")[0] == 1


@pytest.mark.parametrize("question", QUESTIONS)
def test_the_answer_as_it_was_given(mill, said, tmp_path, question, live_service):
    book, results = mill
    options = ["--results", str(results)] if question == "support" else []
    code, out, _ = said(question, book, "--at", AT, "--json", *options)
    with Client.embedded() as client:
        more = {"results": results} if options else {}
        answer = getattr(client.logbook, question)(book, at=AT, **more)
    assert out.encode() == answer.raw + b"\n"
    there = tmp_path / "answer.json"
    served = said(
        question, book, "--at", AT, "--json", *options, "--url", live_service, "-o", there
    )
    assert served == (code, "", "")
    assert there.read_bytes() == answer.raw + b"\n"


def test_forms_of_a_logbook_give_the_same(untidy, said, rows, tmp_path, monkeypatch):
    expected = said("status", untidy())
    assert expected[0] == 1
    assert said("status", untidy(lambda lines: [*lines, "", ""])) == expected
    assert said("status", untidy(encode=lambda text: text.encode("utf-8-sig"))) == expected
    crlf = untidy(encode=lambda text: text.replace("\n", "\r\n").encode())
    assert said("status", crlf) == expected
    piped = io.TextIOWrapper(io.BytesIO(Path(crlf).read_bytes()))
    monkeypatch.setattr(sys, "stdin", piped)
    assert said("status", "-") == expected
    document = tmp_path / "log.json"
    head, *entries = map(json.loads, rows)
    document.write_text(json.dumps({**head, "entries": entries}, indent=1), "utf-8")
    assert said("status", document) == expected
    calendar = tmp_path / "calendar.json"
    calendar.write_text(json.dumps({"calendar": head["calendar"]}), "utf-8-sig")
    assert said("status", untidy(calendar=None), "--calendar", calendar) == expected
    profile = FOLDER / "kestrel.toml"
    assert said("status", untidy(profile=None), "--profile", profile) == expected


def test_now_is_asked_about_where_nothing_says_when(untidy, said):
    answer = json.loads(said("status", untidy(at=None), "--json")[1])
    assert answer["at"][:4] >= "2026"
    assert answer["at"].endswith(("+01:00", "+02:00"))  # Berlin, as the calendar says


def entry(**more):
    def change(lines):
        return [*lines[:3], "", json.dumps({**json.loads(lines[3]), **more}), *lines[4:]]

    return change


@pytest.mark.parametrize(
    ("change", "head", "code", "told"),
    [
        (entry(colour="red"), {}, 4, r"log\.ndjson:5 /colour: there is no such field"),
        (entry(at="yesterday"), {}, 4, r"log\.ndjson:5 /at: "),
        (entry(kind="chekc"), {}, 4, r"log\.ndjson:5 /kind: "),
        (entry(instrument="MA-99"), {}, 4, r"log\.ndjson:5 /instrument: "),
        (lambda lines: [*lines[:4], lines[4][:80]], {}, 2, r"log\.ndjson:5: not JSON: "),
        (lambda lines: [*lines[:4], "[]"], {}, 4, r"log\.ndjson:5: "),
        (
            lambda lines: ["", *lines, lines[1]],
            {},
            4,
            r"log\.ndjson:11 /at: .*log\.ndjson:|:11 /at",
        ),
        (lambda lines: lines[1:], {}, 2, r"log\.ndjson:1: this is an entry"),
        (lambda _: [], {}, 2, r"log\.ndjson: empty"),
        (lambda lines: lines, {"colour": "red"}, 4, "/colour: there is no such field"),
        (lambda lines: lines, {"calendar": {"time_zone": "Europe/Nowhere"}}, 4, "/time_zone: "),
        (lambda lines: lines, {"calendar": None}, 4, "`--calendar FILE` states it"),
        (lambda lines: lines, {"at": "2025-05-12"}, 4, "/at: "),
    ],
)
def test_what_is_wrong_is_told_with_its_line(untidy, said, change, head, code, told):  # noqa: PLR0917
    got, out, err = said("status", untidy(change, **head))
    assert (got, out) == (code, "")
    assert re.search(told, err), err


def test_no_instruments_and_no_entries(untidy, said):
    book = untidy(lambda _: ['{"at": "2025-05-12T06:15:00Z"}'])
    for question in QUESTIONS:
        code, out, err = said(question, book)
        assert (code, err) == (0, "")
        assert out.startswith("Mon 12 May 2025 06:15 (+00:00)   weighworthy-general@")
    code, _, err = said("status", book, "--instrument", "MA-41")
    assert (code, "'MA-41' is not in the answer (there is none)" in err) == (2, True)


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["no-such.ndjson"], "no-such.ndjson: "),
        ([r"C:\logs\mill.ndjson"], r"C:\\logs\\mill.ndjson: "),
        ([str(FOLDER)], "logbook: "),
        (["BOOK", "--calendar", "no-such.toml"], "no-such.toml: "),
        (["BOOK", "--calendar", str(FOLDER / "kestrel.toml")], "there is no calendar in it"),
        (["BOOK", "--profile", "no-such.toml"], "no-such.toml"),
        (["BOOK", "--instrument", "MA-99"], r"'MA-99' is not in the answer \(MA-41, MA-42"),
    ],
)
def test_options_that_cannot_work(untidy, said, arguments, told):
    arguments = [untidy() if one == "BOOK" else one for one in arguments]
    code, out, err = said("status", *arguments)
    assert (code, out) == (2, "")
    assert re.search(told, err), err


def test_results_that_cannot_be_read(untidy, said, tmp_path):
    results = tmp_path / "results.ndjson"
    for raw, told in (
        (b'{"id": "R1"}\n{"id"', r"results\.ndjson:2: not JSON"),
        (b'{"id": "R1", "instrument": "MA-41", "at": "2025-04-01T10:00:00Z", "loss": 4}', "unit"),
        (None, r"results\.ndjson: No such file"),
    ):
        results.unlink(missing_ok=True)
        if raw is not None:
            results.write_bytes(raw)
        code, _, err = said("support", untidy(), "--results", results)
        assert code == 2
        assert re.search(told, err), err


def test_a_time_without_offset_is_not_guessed(untidy, capsys):
    with pytest.raises(SystemExit) as caught:
        main(["logbook", "status", untidy(), "--at", "2025-05-12T06:15"])
    assert caught.value.code == 2
    assert "no time with its offset" in capsys.readouterr().err


@pytest.mark.parametrize("text", ["=1", "+x", "-x", "@x", "\t=1", "a", "a\n=1", "−x", "1-2"])
def test_csv_is_made_harmless_as_the_service_does(text):
    wanted = ("result", "instrument", "at", "method", "loss", "initial_mass", "lower_limit")
    more = ("upper_limit", "state", "check", "needs", "crossing", "assessed", "sentence")
    row = {**dict.fromkeys((*wanted, *more)), "result": text, "shifts": ()}
    _, cells = csv.reader(io.StringIO(as_csv([row]), newline=""))
    assert cells[0] == harmless(text)


def example(name, *arguments):
    return subprocess.run(
        [sys.executable, FOLDER / name, *arguments],
        capture_output=True,
        encoding="utf-8",
        check=False,
        timeout=120,
        env={name: value for name, value in os.environ.items() if name != "WEIGHWORTHY_URL"},
    )


def test_morning(mill):
    done = example("morning.py")
    assert (done.returncode, done.stderr) == (1, "")
    assert (
        "MA-41  ■ out of service  since Mon 12 May 06:12\n       next: repeat span" in done.stdout
    )
    assert "Must not be used, and nobody has taken it out: MA-41\n" in done.stdout
    later = example("morning.py", mill[0])
    assert later.returncode == 0
    assert later.stdout.count("● in service") == 4


def test_in_doubt(mill):
    done = example("in_doubt.py")
    assert done.returncode == 1
    table = list(csv.DictReader(io.StringIO(done.stdout, newline="")))
    assert {row["instrument"] for row in table} == {"MA-41"}
    assert {row["state"] for row in table} == {"in-doubt"}
    # A span error that is a constant gain cancels in a loss.
    assert {row["shift_upper"] for row in table} == {"0.0"}
    assert "results need action" in done.stderr
    given = example("in_doubt.py", *mill, AT)
    assert given.stdout == done.stdout


README = (FOLDER.parents[1] / "README.md").read_text("utf-8")


def block(mark):
    """The code block that follows an HTML comment in the README."""
    return re.search(rf"<!-- {mark} -->\n```\w+\n(.*?)```", README, re.DOTALL)[1]


def test_readme_commands_and_what_they_print(mill, said, tmp_path, monkeypatch):
    monkeypatch.setenv("COLUMNS", "100")
    simulated, *commands = block("logbook").splitlines()
    script, _, target = simulated.removeprefix("python ").partition(" > ")
    assert example(*shlex.split(script.replace("results.ndjson", str(tmp_path / "r")))).stdout == (
        mill[0].read_text("utf-8")
    )
    assert target == "mill.ndjson"
    files = {"mill.ndjson": str(mill[0]), "results.ndjson": str(mill[1])}
    ran = []
    for line in commands:
        program, group, *arguments = shlex.split(line)
        assert (program, group) == ("weighworthy", "logbook")
        ran.append((arguments[0], *said(*(files.get(one, one) for one in arguments))))
    assert [(name, code) for name, code, _, _ in ran] == [
        *(("status", 1), ("support", 1), ("drift", 0), ("intervals", 0), ("signals", 0))
    ]
    assert ran[0][2] == block("logbook-output")


def test_readme_with_a_table(mill, said, tmp_path, monkeypatch):
    """The log parted into an export and all else gives what the README shows of the whole."""
    monkeypatch.setenv("COLUMNS", "100")
    parted, command = block("logbook-table").splitlines()
    script, _, target = parted.removeprefix("python ").partition(" > ")
    files = {"mill.ndjson": str(mill[0]), "losses.toml": str(FOLDER / "losses.toml")}
    files |= {name: str(tmp_path / name) for name in ("losses.csv", "others.ndjson")}
    done = example(*(files.get(one, one) for one in shlex.split(script)))
    assert (done.returncode, done.stderr) == (0, "")
    Path(files[target]).write_text(done.stdout, "utf-8")
    program, group, *arguments = shlex.split(command)
    assert (program, group) == ("weighworthy", "logbook")
    shown = said(*(files.get(one, one) for one in arguments))
    assert shown == (1, block("logbook-output"), "")


@pytest.mark.needs_curl
@pytest.mark.skipif(shutil.which("curl") is None, reason="needs curl")
def test_readme_with_curl(mill, live_service):
    command = block("logbook-curl").replace("\\\n", " ").replace("mill.ndjson", str(mill[0]))
    done = subprocess.run(
        [*shlex.split(command.replace("http://127.0.0.1:8000", live_service)), "--noproxy", "*"],
        capture_output=True,
        check=False,
        timeout=60,
    )
    assert json.loads(done.stdout)["summary"]["instruments"] == 4
