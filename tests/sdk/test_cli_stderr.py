"""What cannot be said on standard error changes neither the exit code nor the data."""

import errno
import io
import json
import os
import subprocess
import sys

import pytest

from weighworthy.cli import main
from weighworthy.cli_common import FOUND, OK, USAGE

PROFILE = """
id = "kestrel"
revision = "1"
title = "Kestrel Mill Foods (invented)"
[[rules]]
checks = ["span"]
limits.span_error = { within = "5 mg" }
"""


class Full(io.StringIO):
    """Stands for a disk without room, or for a reader that has gone."""

    def __init__(self, error):
        super().__init__()
        self.error = error

    def write(self, text):
        raise OSError(self.error, os.strerror(self.error))


STATES = pytest.mark.parametrize(
    "error", [errno.ENOSPC, errno.EPIPE, None], ids=["full", "reader gone", "closed"]
)


@STATES
def test_the_exit_code_is_that_of_the_work(error, capsys, monkeypatch, tmp_path):
    monkeypatch.setattr(sys, "stderr", error and Full(error))
    good, bad = tmp_path / "good.toml", tmp_path / "bad.toml"
    good.write_text(PROFILE, "utf-8")
    bad.write_text(PROFILE.replace("5 mg", "5 mgs"), "utf-8")
    assert main(["profiles", "review", str(good), "--json"]) == OK
    json.loads(capsys.readouterr().out)
    assert main(["profiles", "review", str(bad)]) == FOUND
    capsys.readouterr()
    assert main(["profiles", "review", str(tmp_path / "none.toml")]) == USAGE
    # Not among the data either.
    assert capsys.readouterr().out == ""


@STATES
def test_a_key_that_nobody_can_read_is_none(error, monkeypatch):
    monkeypatch.setattr(sys, "stderr", error and Full(error))
    assert main(["new-key"]) == USAGE


@pytest.mark.parametrize("closed", ["2>&-", "2>/dev/full", "2>&1 | true"])
@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="has no /dev/full")
def test_as_a_shell_sees_it(closed):
    # The exit code of the command, also where it stands before a pipe.
    command = f'"{sys.executable}" -m weighworthy.cli profiles review none.toml'
    script = f"( {{ {command}; echo $? >&3; }} {closed} ) 3>&1 1>/dev/null"
    ran = subprocess.run(["/bin/sh", "-c", script], check=False, capture_output=True, text=True)
    assert ran.stdout == f"{USAGE}\n"
