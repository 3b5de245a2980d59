"""Where the processes of a server keep their counts, so that each can tell the sum.

prometheus-client wants a folder of files, one a process and kind, named in the environment before
it is imported. Files of processes that are gone stay, and would be read with every scrape; here
they are added up in one.

A server that is killed leaves its folder behind; the next one of the same user removes it. Each
holds a lock in its folder for as long as it or any of its workers lives: numbers of processes would
not tell, as those of one container mean nothing in another.
"""

import atexit
import fcntl
import os
import stat
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from functools import cache
from pathlib import Path
from shutil import rmtree
from typing import Final

_VARIABLE: Final = "PROMETHEUS_MULTIPROC_DIR"
_MEMORY: Final = Path("/dev/shm")  # noqa: S108  counts belong in memory
_LOCK: Final = "lock"
ALIVE: Final = "alive"
_PREFIX: Final = "weighworthy-metrics-"
_SUMMED: Final = ("counter", "histogram")


@cache
def prepare() -> Path:
    """Make a new, empty, private folder for this process and those that it forks, once.

    Whatever the environment names is not used: it may be of a server that this one takes over from.
    """
    within = _MEMORY if os.access(_MEMORY, os.W_OK) else Path(tempfile.gettempdir())
    _sweep(within)
    folder = Path(tempfile.mkdtemp(prefix=_PREFIX, dir=within))
    (folder / _LOCK).touch(mode=0o600)
    # Locked before it has its name: nobody finds it free. Workers inherit it, and it stays open.
    held = os.open(folder / f"{ALIVE}.new", os.O_CREAT | os.O_RDWR, 0o600)
    fcntl.flock(held, fcntl.LOCK_EX)
    (folder / f"{ALIVE}.new").rename(folder / ALIVE)
    os.environ[_VARIABLE] = str(folder)
    atexit.register(_remove, folder, os.getpid())
    return folder


def _sweep(within: Path) -> None:
    """Remove the folders of this user whose servers are gone."""
    for folder in within.glob(f"{_PREFIX}*"):
        with suppress(OSError):
            found = folder.lstat()
            if stat.S_ISDIR(found.st_mode) and found.st_uid == os.geteuid() and _is_left(folder):
                rmtree(folder, ignore_errors=True)


def _is_left(folder: Path) -> bool:
    held = os.open(folder / ALIVE, os.O_RDONLY | os.O_NOFOLLOW)
    try:
        fcntl.flock(held, fcntl.LOCK_EX | fcntl.LOCK_NB)
    finally:
        os.close(held)
    return True


def _remove(folder: Path, pid: int) -> None:
    # Workers inherit what is to be done at the end, and end earlier.
    if os.getpid() == pid:
        rmtree(folder, ignore_errors=True)


def current() -> Path | None:
    """The folder of this process; None where it is alone, and counts in its own memory."""
    text = os.environ.get(_VARIABLE)
    return Path(text) if text else None


@contextmanager
def reading(folder: Path) -> Iterator[None]:
    """Nothing is added up while this lasts: a sum that is seen twice or not at all looks like a
    restart of the server."""
    with _locked(folder, fcntl.LOCK_SH):
        yield


def bury(pid: int) -> None:
    """Add what a process counted that is gone to what others did, and forget its gauges."""
    from prometheus_client.multiprocess import mark_process_dead  # noqa: PLC0415  needs the folder

    folder = prepare()
    # Counts may get lost with their folder; the first process must not end by that.
    with suppress(OSError), _locked(folder, fcntl.LOCK_EX):
        mark_process_dead(pid, str(folder))  # type: ignore[no-untyped-call]
        for kind in _SUMMED:
            of_one = folder / f"{kind}_{pid}.db"
            if of_one.exists():
                _add(of_one, folder / f"{kind}_gone.db")
                of_one.unlink()


def _add(of_one: Path, of_all: Path) -> None:
    from prometheus_client.mmap_dict import MmapedDict  # noqa: PLC0415

    total = MmapedDict(str(of_all))  # type: ignore[no-untyped-call]
    try:
        # Killed in the middle of a write, a process leaves a file that ends too early.
        with suppress(RuntimeError, ValueError, OSError):
            read = MmapedDict.read_all_values_from_file(str(of_one))  # type: ignore[no-untyped-call]
            for key, value, _, _ in read:
                before, _ = total.read_value(key)  # type: ignore[no-untyped-call]
                total.write_value(key, before + value, 0.0)  # type: ignore[no-untyped-call]
    finally:
        total.close()  # type: ignore[no-untyped-call]


@contextmanager
def _locked(folder: Path, how: int) -> Iterator[None]:
    with (folder / _LOCK).open("rb") as lock:
        fcntl.flock(lock, how)
        yield
