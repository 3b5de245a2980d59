"""The commands that start a service and make keys, up to the program that takes over."""

import hashlib
import os
import re
import sys

import pytest

from weighworthy import cli_serve
from weighworthy.cli import main


class _TakenOver(BaseException):
    """Instead of the program that would take the place of this process."""


@pytest.fixture
def started(monkeypatch):
    """What is started: the command line, and the variables of ours."""
    for name in [name for name in os.environ if name.startswith("WEIGHWORTHY_")]:
        monkeypatch.delenv(name)
    found = {}

    def execve(program, command, environment):
        assert program == sys.executable
        found["command"] = command[1:]
        found.update({k: v for k, v in environment.items() if k.startswith("WEIGHWORTHY_")})
        raise _TakenOver

    monkeypatch.setattr(os, "execve", execve)

    def start(*options):
        try:
            return main(["serve", *options])
        except _TakenOver:
            return found

    return start


def test_without_keys_it_serves_this_computer_alone(started, capsys):
    found = started()
    assert found == {
        "command": ["-m", "gunicorn", "-c", "python:weighworthy_service.web.server"],
        "WEIGHWORTHY_ANONYMOUS": "loopback",
    }
    assert "for this computer alone" in capsys.readouterr().err


@pytest.mark.parametrize("bind", ["127.0.0.1:0", "localhost:9000", "[::1]:9000", "127.9.9.9:1"])
def test_addresses_of_this_computer(started, bind):
    assert started("--bind", bind)["WEIGHWORTHY_ANONYMOUS"] == "loopback"


@pytest.mark.parametrize(
    "bind",
    ["0.0.0.0:8000", "[::]:8000", ":8000", "192.0.2.7:80", "kestrel.example:80", "unix:/run/ww"],
)
def test_addresses_that_others_reach_need_keys(started, bind, capsys, monkeypatch):
    assert started("--bind", bind) == 2
    assert "give --keys-file" in capsys.readouterr().err
    monkeypatch.setenv("WEIGHWORTHY_BIND", bind)
    assert started() == 2
    found = started("--keys-file", "keys")
    assert found["WEIGHWORTHY_KEYS_FILE"] == "keys"
    assert "WEIGHWORTHY_ANONYMOUS" not in found


def test_a_decision_in_the_environment_stays(started, monkeypatch, capsys):
    monkeypatch.setenv("WEIGHWORTHY_ANONYMOUS", "yes")
    monkeypatch.setenv("WEIGHWORTHY_THREADS", "6")
    found = started("--bind", "0.0.0.0:8000", "--threads", "8", "--profiles", "tolerances")
    assert found.pop("command")
    assert found == {
        "WEIGHWORTHY_ANONYMOUS": "yes",
        "WEIGHWORTHY_BIND": "0.0.0.0:8000",
        "WEIGHWORTHY_THREADS": "8",
        "WEIGHWORTHY_PROFILES": "tolerances",
    }
    assert "this computer" not in capsys.readouterr().err


def test_without_what_it_needs_it_says_what_to_install(started, monkeypatch, capsys):
    real = cli_serve.importlib.util.find_spec
    monkeypatch.setattr(
        cli_serve.importlib.util,
        "find_spec",
        lambda name: None if name == "gunicorn" else real(name),
    )
    assert started() == 4
    assert "pip install 'weighworthy[service]'" in capsys.readouterr().err


def test_a_new_key_and_its_line(capsys):
    assert main(["new-key"]) == 0
    line, key = capsys.readouterr()
    assert line.endswith("\n")
    assert key.endswith("\n")
    key = key.removesuffix("\n")
    # Of 32 random bytes, in base64 without filling.
    assert re.fullmatch("weighworthy-key-[A-Za-z0-9_-]{43}", key)
    assert line == f"sha256:{hashlib.sha256(key.encode()).hexdigest()} evaluate read\n"
    main(["new-key"])
    assert capsys.readouterr().err != key + "\n"


def test_a_new_key_with_scopes_and_name(capsys):
    assert main(["new-key", "--scope", "metrics", "--scope", "read", "--name", "quay #2"]) == 0
    assert capsys.readouterr().out.partition(" ")[2] == "read metrics # quay #2\n"
    assert main(["new-key", "--name", "two\nlines"]) == 2


def test_a_new_key_is_what_the_service_reads(capsys, tmp_path):
    keys = pytest.importorskip("weighworthy_service.web.keys")
    main(["new-key", "--scope", "evaluate", "--name", "LIMS"])
    line, key = capsys.readouterr()
    (tmp_path / "keys").write_text(line)
    digest = hashlib.sha256(key.strip().encode()).digest()
    assert keys.read_keys(tmp_path / "keys") == {keys.Key(digest, frozenset({"evaluate"}))}
    assert set(cli_serve._SCOPES) == set(keys.SCOPES)
