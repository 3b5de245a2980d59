"""Workers that begin as they do on Windows: anew, with nothing of the process that asks."""

import multiprocessing
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from weighworthy import table_workers

EXAMPLES = Path(__file__).parents[2] / "examples" / "tables"
EXPORT, MAPPING = EXAMPLES / "harbour.csv", EXAMPLES / "harbour.toml"
# Pieces of some lines, so that there is work for both; what began how, at the end.
SCRIPT = """
import multiprocessing
import sys
from concurrent.futures import ProcessPoolExecutor
from weighworthy import table_pieces, table_workers
from weighworthy.cli import main

class Watched(ProcessPoolExecutor):
    def __init__(self, *arguments, mp_context, **named):
        print("begun by", mp_context.get_start_method())
        super().__init__(*arguments, mp_context=mp_context, **named)

if __name__ == "__main__":
    multiprocessing.set_start_method(sys.argv[1])
    table_pieces.PIECE = 1_000
    table_workers.ProcessPoolExecutor = Watched
    sys.exit(main(sys.argv[2:]))
"""


def test_a_table_by_workers_that_are_spawned(tmp_path):
    script = tmp_path / "script.py"
    script.write_text(SCRIPT, "utf-8")
    written = {}
    for method in ("fork", "spawn"):
        # Blanks and letters beyond ASCII, as in the folders of people.
        out = tmp_path / f"Prüfung {method}" / "judged table.csv"
        out.parent.mkdir()
        command = [sys.executable, str(script), method, "evaluate", str(EXPORT)]
        command += ["--mapping", str(MAPPING), "-o", str(out), "--processes", "2", "--quiet"]
        done = subprocess.run(command, capture_output=True, text=True, timeout=120, check=False)
        # One check of the example fails, which is a finding and no fault.
        assert (done.returncode, done.stderr) == (1, "")
        expected = "fork" if method == "fork" and sys.platform == "linux" else "spawn"
        assert done.stdout == f"begun by {expected}\n"
        written[method] = out.read_bytes()
        assert list(out.parent.iterdir()) == [out]
    assert written["spawn"] == written["fork"]
    assert written["spawn"].count(b";judged;") == 40


@pytest.mark.parametrize(
    ("stated", "platform", "threads", "method"),
    [
        (None, "linux", 1, "fork"),
        ("fork", "linux", 1, "fork"),
        ("spawn", "linux", 1, "spawn"),
        ("forkserver", "linux", 1, "spawn"),
        ("fork", "linux", 2, "spawn"),
        (None, "linux", 2, "spawn"),
        (None, "win32", 1, "spawn"),
        (None, "darwin", 1, "spawn"),
    ],
)
def test_how_workers_begin(monkeypatch, stated, platform, threads, method):
    monkeypatch.setattr(multiprocessing, "get_start_method", lambda allow_none: stated)
    monkeypatch.setattr(table_workers.sys, "platform", platform)
    monkeypatch.setattr(threading, "active_count", lambda: threads)
    assert table_workers._start_method() == method
