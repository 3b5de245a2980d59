"""The command as a shell sees it: arguments, streams, exit codes."""

import importlib
import io
import json
import os
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
import responses

from weighworthy import cli, cli_check
from weighworthy.cli import main
from weighworthy.cli_common import UsageError, expanded, load_argument, read_document, read_lines

URL = "http://127.0.0.1:9"
SPAN = f"{URL}/v1/checks/span"
REQUEST = {"instrument": {"id": "MA-1", "scale_interval": "1 mg"}, "rounds": []}


@pytest.fixture(autouse=True)
def clean(monkeypatch):
    for name in ("WEIGHWORTHY_URL", "WEIGHWORTHY_API_KEY"):
        monkeypatch.delenv(name, raising=False)


@pytest.fixture
def mocked():
    with responses.RequestsMock(assert_all_requests_are_fired=False) as mock:
        yield mock


@pytest.fixture
def request_file(tmp_path):
    path = tmp_path / "request.json"
    path.write_text(json.dumps(REQUEST), "utf-8")
    return str(path)


def check(file, *options):
    return main(["check", "span", file, "--url", URL, *options])


@pytest.mark.parametrize(
    ("verdict", "usable", "code"),
    [("pass", True, 0), ("conditional-fail", False, 1), ("fail", False, 1), (None, None, 1)],
)
def test_exit_code_follows_use(mocked, envelope, request_file, verdict, usable, code):  # noqa: PLR0917
    mocked.post(SPAN, json={**envelope, "verdict": verdict, "usable": usable})
    assert check(request_file) == code


def test_json_is_what_the_service_said(mocked, answer_bytes, request_file, capsys, tmp_path):
    mocked.post(SPAN, body=answer_bytes, content_type="application/json")
    assert check(request_file, "--json") == 1
    assert capsys.readouterr().out == answer_bytes.decode() + "\n"
    assert check(request_file, "--json", "-o", str(tmp_path / "answer.json")) == 1
    assert (tmp_path / "answer.json").read_bytes() == answer_bytes + b"\n"
    assert capsys.readouterr().out == ""


def test_toml_standard_input_site_and_profile(mocked, answer_bytes, monkeypatch, tmp_path):
    mocked.post(SPAN, body=answer_bytes, content_type="application/json")
    site = tmp_path / "site.toml"
    site.write_text("[instruments.MA-1]\nscale_interval = '1 mg'\n", "utf-8")
    text = b'instrument = "MA-1"\nrounds = []\n'
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(text)))
    assert check("-", "--site", str(site), "--profile", "harbour@1") == 1
    assert json.loads(mocked.calls[0].request.body) == {
        "instrument": {"id": "MA-1", "scale_interval": "1 mg"},
        "rounds": [],
        "profile": "harbour@1",
    }


def test_key_comes_from_a_file_or_the_environment(
    mocked, answer_bytes, request_file, monkeypatch, tmp_path
):
    mocked.post(SPAN, body=answer_bytes, content_type="application/json")
    monkeypatch.setenv("WEIGHWORTHY_API_KEY", "from-environment")
    check(request_file)
    (tmp_path / "key").write_text("from-file\n", "utf-8")
    check(request_file, "--api-key-file", str(tmp_path / "key"))
    keys = [call.request.headers["Authorization"] for call in mocked.calls]
    assert keys == ["Bearer from-environment", "Bearer from-file"]


def test_url_from_the_environment(mocked, answer_bytes, request_file, monkeypatch):
    mocked.post(SPAN, body=answer_bytes, content_type="application/json")
    monkeypatch.setenv("WEIGHWORTHY_URL", URL)
    assert main(["check", "span", request_file]) == 1
    assert len(mocked.calls) == 1


@pytest.mark.parametrize(
    ("slug", "status", "code"),
    [
        ("invalid", 422, 4),
        ("key-missing", 401, 4),
        ("internal", 500, 4),
        ("profile-not-usable", 422, 1),
    ],
)
def test_refusals(mocked, request_file, capsys, slug, status, code):  # noqa: PLR0917
    problem = {"type": f"/problems/{slug}", "title": "No.", "status": status, "detail": "Because."}
    mocked.post(SPAN, json=problem, status=status, content_type="application/problem+json")
    assert check(request_file) == code
    said = capsys.readouterr()
    assert said.out == ""
    assert "Because." in said.err


def test_a_service_that_is_not_there(request_file, capsys):
    # Port 9 of this computer: nothing listens, and the client's own retries are short.
    assert check(request_file) == 4
    assert "no connection" in capsys.readouterr().err


@pytest.mark.parametrize(
    "content",
    ["", "[]", "{", '{"rounds": [{"zero": 0.001}]}', '{"instrument": "MA-7"}', "[" * 9999],
)
def test_requests_that_cannot_be_sent_are_wrong_usage(tmp_path, content, capsys):
    path = tmp_path / "request.json"
    path.write_text(content, "utf-8")
    assert check(str(path)) == 2
    assert capsys.readouterr().err.startswith("weighworthy: ")


@pytest.mark.parametrize(
    "arguments",
    [
        [],
        ["profiles"],
        ["check", "span"],
        ["profiles", "card", "a", "--check", "span"],
        ["profiles", "resolve", "a", "--instrument", "x", "--check", "span", "--load", "A20++B"],
    ],
)
def test_arguments_that_are_missing_or_wrong(arguments, capsys):
    with pytest.raises(SystemExit) as caught:
        main(arguments)
    assert caught.value.code == 2
    assert "usage: weighworthy" in capsys.readouterr().err


@pytest.mark.parametrize(
    "options",
    [
        ["no-such.json"],
        ["-", "--url", "ftp://x"],
        ["-", "--url", URL, "--profiles", "folder"],
        ["-", "--url", URL, "--site", "no-such.toml"],
        ["-", "--url", URL, "--api-key-file", "no-such"],
    ],
)
def test_options_that_cannot_work(options, monkeypatch, capsys):
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(b"{}")))
    assert main(["check", "span", *options]) == 2
    assert capsys.readouterr().err.startswith("weighworthy: ")


def test_unknown_kind_is_wrong_usage(request_file, capsys):
    assert main(["check", "../info", request_file, "--url", URL]) == 2
    assert "no kind of check" in capsys.readouterr().err


def test_a_fault_of_the_program_has_its_own_code(monkeypatch, request_file, capsys):
    def broken(_):
        raise ZeroDivisionError

    monkeypatch.setattr(cli_check, "_check", broken)
    assert main(["check", "span", request_file]) == 5
    said = capsys.readouterr().err
    assert "ZeroDivisionError" in said
    assert "please report it" in said


def test_output_that_cannot_be_written(mocked, answer_bytes, request_file, tmp_path):
    mocked.post(SPAN, body=answer_bytes, content_type="application/json")
    assert check(request_file, "-o", str(tmp_path / "no" / "such" / "folder")) == 2


def test_wildcards_are_expanded_here_too(tmp_path):
    for name in ("b.toml", "a.toml", "c.json"):
        (tmp_path / name).touch()
    a, b = str(tmp_path / "a.toml"), str(tmp_path / "b.toml")
    assert expanded([str(tmp_path / "*.toml"), a, "-"]) == [a, b, "-"]
    # A file whose name holds a bracket is that file, whatever a pattern would say.
    (tmp_path / "[x].toml").touch()
    assert expanded([str(tmp_path / "[x].toml")]) == [str(tmp_path / "[x].toml")]
    for pattern in ("*.txt", "missing.toml"):
        with pytest.raises(UsageError, match="no such file"):
            expanded([str(tmp_path / pattern)])


def test_past_checks_are_read_line_by_line(tmp_path):
    path = tmp_path / "past.ndjson"
    # U+2028 may stand in a JSON text and is no end of a line there.
    path.write_bytes(b'\xef\xbb\xbf{"check": "span", "note": "a\xe2\x80\xa8b"}\r\n\n{"check": "x"}')
    found = [(place, row["check"]) for place, row in read_lines([str(path)])]
    assert found == [(f"{path}:1", "span"), (f"{path}:3", "x")]
    path.write_text('{"check": "span"}\n[1]\n', "utf-8")
    with pytest.raises(UsageError, match=r"past\.ndjson:2: not a JSON object"):
        list(read_lines([str(path)]))
    path.write_text('{"check": "span"}\n{"check"\n', "utf-8")
    with pytest.raises(UsageError, match=r"past\.ndjson:2: not JSON"):
        list(read_lines([str(path)]))


def test_files_that_are_not_utf8_or_not_toml(tmp_path):
    path = tmp_path / "x.toml"
    path.write_bytes(b"\xff")
    with pytest.raises(UsageError, match="not UTF-8"):
        read_document(str(path))
    path.write_text("a = ", "utf-8")
    with pytest.raises(UsageError, match=r"x\.toml: "):
        read_document(str(path))


def test_loads():
    assert load_argument("A20+A10") == ["A20", "A10"]
    assert load_argument("A2") == ["A2"]


def test_streams_are_utf8_whatever_the_locale_says():
    code = (
        "from weighworthy import cli, cli_check\n"
        "cli_check._check = lambda _: print('● ■') or 0\n"
        "cli.main(['check', 'span', 'file'])"
    )
    environment = {**os.environ, "PYTHONIOENCODING": "ascii", "LC_ALL": "C"}
    done = subprocess.run(
        [sys.executable, "-c", code], env=environment, capture_output=True, check=False, timeout=60
    )
    assert done.stdout.decode("utf-8").strip() == "● ■"


def test_a_reader_that_goes_away_is_no_fault(tmp_path):
    site = tmp_path / "many.py"
    site.write_text(
        "import sys\n"
        "from weighworthy import cli, cli_check\n"
        "from weighworthy.cli_common import write\n"
        "def much(arguments):\n"
        "    write(arguments, 'x' * 10_000_000)\n"
        "    return 0\n"
        "cli_check._check = much\n"
        "sys.exit(cli.main(['check', 'span', 'file']))\n",
        "utf-8",
    )
    process = subprocess.Popen(
        [sys.executable, str(site)], stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )
    process.stdout.read(10)
    process.stdout.close()
    said = process.stderr.read()
    process.stderr.close()
    assert process.wait(timeout=60) == 0
    assert said == b""


def test_the_script_is_this_function():
    scripts = tomllib.loads((Path(__file__).parents[2] / "pyproject.toml").read_text("utf-8"))
    module, _, name = scripts["project"]["scripts"]["weighworthy"].partition(":")
    assert getattr(importlib.import_module(module), name) is cli.main


def test_version(capsys):
    with pytest.raises(SystemExit) as caught:
        main(["--version"])
    assert caught.value.code == 0
    assert capsys.readouterr().out.startswith("weighworthy ")


def test_the_command_without_a_service_loads_none_of_it():
    code = "import sys, weighworthy.cli; print({'flask', 'marshmallow', 'scipy'} & {*sys.modules})"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60
    )
    assert done.stdout == "set()\n"
