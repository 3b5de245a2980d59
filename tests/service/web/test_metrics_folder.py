"""Folders of counts in shared memory: those that killed servers left go, and no other."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from weighworthy_service.web import metrics_folder

# Makes a folder in the place that is given, tells it, and lives until its input ends.
SERVER = """
import sys
from pathlib import Path
from weighworthy_service.web import metrics_folder
metrics_folder._MEMORY = Path(sys.argv[1])
print(metrics_folder.prepare(), flush=True)
if sys.argv[2:] and __import__("os").fork():
    __import__("os").kill(__import__("os").getpid(), 9)
sys.stdin.read()
"""


class Server:
    """A process that counts in a folder of its own."""

    def __init__(self, memory: Path, *more: str) -> None:
        command = [sys.executable, "-c", SERVER, str(memory), *more]
        self.process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE)
        assert self.process.stdout is not None
        self.folder = Path(self.process.stdout.readline().decode().strip())
        self.process.stdout.close()

    def kill(self) -> None:
        self.process.kill()
        self.end()

    def end(self) -> None:
        assert self.process.stdin is not None
        self.process.stdin.close()
        self.process.wait(timeout=30)


def test_a_server_that_ends_takes_its_folder_along(tmp_path: Path) -> None:
    server = Server(tmp_path)
    assert server.folder.is_dir()
    server.end()
    assert not server.folder.exists()


def test_the_next_server_removes_what_a_killed_one_left(tmp_path: Path) -> None:
    killed, living = Server(tmp_path), Server(tmp_path)
    killed.kill()
    assert killed.folder.is_dir()
    following = Server(tmp_path)
    assert not killed.folder.exists()
    assert living.folder.is_dir()
    assert following.folder.is_dir()
    living.end()
    following.end()


def test_workers_that_outlive_their_first_process_keep_the_folder(tmp_path: Path) -> None:
    orphaned = Server(tmp_path, "fork and kill the first")
    orphaned.process.wait(timeout=30)
    following = Server(tmp_path)
    assert orphaned.folder.is_dir()
    following.end()
    orphaned.end()


def test_what_is_not_a_folder_of_counts_stays(tmp_path: Path) -> None:
    others = [tmp_path / "weighworthy-metrics-mine", tmp_path / "other"]
    for folder in others:
        folder.mkdir()
        (folder / "file").touch()
    (tmp_path / "weighworthy-metrics-file").touch()
    away = tmp_path / "away"
    away.mkdir()
    (away / metrics_folder.ALIVE).touch()
    (tmp_path / "weighworthy-metrics-link").symlink_to(away)
    Server(tmp_path).end()
    assert all((folder / "file").exists() for folder in others)
    assert (tmp_path / "weighworthy-metrics-file").exists()
    assert (away / metrics_folder.ALIVE).exists()


@pytest.mark.skipif(os.geteuid() != 0, reason="gives a folder to another user")
def test_folders_of_other_users_stay(tmp_path: Path) -> None:
    killed = Server(tmp_path)
    killed.kill()
    os.chown(killed.folder, 12345, 12345)
    Server(tmp_path).end()
    assert killed.folder.is_dir()
