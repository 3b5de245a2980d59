"""Who holds an output, and when it may be taken over."""

import json
import os
import re
import socket
import subprocess
import sys
import time

import pytest

from weighworthy.errors import TableFileError
from weighworthy.locks import lock_file, locked


@pytest.fixture
def out(tmp_path):
    return tmp_path / "judged.csv"


def held_by(out, **holder):
    lock_file(out).write_text(json.dumps(holder), "utf-8")


def test_it_names_process_and_computer_and_goes(out):
    with locked(out):
        holder = json.loads(lock_file(out).read_text("utf-8"))
        assert (holder["process"], holder["computer"]) == (os.getpid(), socket.gethostname())
    assert not lock_file(out).exists()


def test_it_goes_after_a_fault_too(out):
    with pytest.raises(KeyError), locked(out):
        raise KeyError
    assert not lock_file(out).exists()


def test_nobody_else_gets_it(out):
    with locked(out):
        process = f"process {os.getpid()} of this computer; if it is none, delete {lock_file(out)}"
        with pytest.raises(TableFileError, match=re.escape(process)), locked(out):
            pass
        assert lock_file(out).exists()


def test_that_of_a_process_that_has_died_is_taken_over(out):
    child = subprocess.Popen([sys.executable, "-c", ""])
    child.wait()
    held_by(out, process=child.pid, computer=socket.gethostname(), began="1")
    with locked(out):
        assert json.loads(lock_file(out).read_text("utf-8"))["process"] == os.getpid()
    assert list(out.parent.iterdir()) == []


@pytest.mark.skipif(not os.path.exists("/proc/self/stat"), reason="looks into /proc")
def test_another_process_with_the_number_of_a_dead_one_holds_nothing(out):
    held_by(out, process=os.getpid(), computer=socket.gethostname(), began="0")
    with locked(out):
        pass


@pytest.mark.parametrize("holder", ["", "{", "[" * 100_000, "[]", '{"process": "x"}', "\udcff"])
def test_what_cannot_be_read_is_left_to_people(out, holder):
    lock = lock_file(out)
    lock.write_text(holder, "utf-8", "surrogateescape")
    said = f"a run that does not say which; if none is at work any more, delete {lock}"
    with pytest.raises(TableFileError, match=re.escape(said)), locked(out):
        pass
    assert lock.exists()


@pytest.mark.parametrize("process", [10**30, 0, -1, True])
def test_a_number_that_no_process_has_is_left_to_people(out, process):
    held_by(out, process=process, computer=socket.gethostname(), began="1")
    with pytest.raises(TableFileError, match="another run writes it"), locked(out):
        pass


@pytest.mark.parametrize("content", [b"", b"\0" * 80])
def test_what_a_crash_has_left_empty_is_taken_over_after_a_moment(out, content):
    lock = lock_file(out)
    lock.write_bytes(content)
    with pytest.raises(TableFileError, match="another run writes it"), locked(out):
        pass
    long_ago = time.time() - 60
    os.utime(lock, (long_ago, long_ago))
    with locked(out):
        assert json.loads(lock.read_text("utf-8"))["process"] == os.getpid()
    assert list(out.parent.iterdir()) == []


def test_that_of_another_computer_is_left_to_people_who_are_told_what_to_look_at(out):
    held_by(out, process=1, computer="bench-2.example", began="1")
    said = (
        "judged.csv: another run writes it: process 1 on bench-2.example, which cannot be seen "
        f"from here; look there whether it is at work, and if it is not, delete {lock_file(out)}"
    )
    with pytest.raises(TableFileError, match=re.escape(said)), locked(out):
        pass


def test_a_folder_that_is_not_there_is_told_by_the_output(tmp_path):
    out = tmp_path / "none" / "judged.csv"
    with pytest.raises(FileNotFoundError) as raised, locked(out):
        pass
    assert raised.value.filename == str(out)
