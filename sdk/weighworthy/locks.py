"""One run at a time for one output: a file beside it that names the process that writes."""

import json
import os
import socket
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path, PurePath
from typing import Any, TextIO

from weighworthy.errors import TableFileError

# Between looking and taking, another may come; never for long.
_ATTEMPTS = 5
# Seconds after which whoever has made the file must have written who it is.
_BEGINNING = 10


def lock_file(output: PurePath) -> PurePath:
    """The file beside an output by which others see that it is being written."""
    return output.with_name(output.name + ".lock")


@contextmanager
def locked(output: Path) -> Iterator[None]:
    """Hold an output. That of a process of this computer that has died is taken over.

    Raises `TableFileError` naming who holds it, ``OSError`` where no file can be made.
    """
    path = Path(lock_file(output))
    # It stays open: what is open cannot be taken away on Windows.
    file = _taken(path, output)
    try:
        yield
    finally:
        file.close()
        with suppress(OSError):
            path.unlink()


def _taken(path: Path, output: Path) -> TextIO:
    for _ in range(_ATTEMPTS):
        try:
            file = path.open("x", encoding="utf-8")
        except FileExistsError:
            _take_away(path, output)
            continue
        except FileNotFoundError as error:
            # It is the folder that is missing, not this file.
            raise FileNotFoundError(error.errno, error.strerror, str(output)) from error
        try:
            mine = {"process": os.getpid(), "began": _began(os.getpid())}
            json.dump({**mine, "computer": socket.gethostname()}, file)
            file.flush()
        except BaseException:
            file.close()
            path.unlink()
            raise
        return file
    raise TableFileError(f"{output.name}: other runs are beginning to write it")


def _take_away(path: Path, output: Path) -> None:
    """Take away the lock of a process that has died, and of no other."""
    try:
        text = path.read_text("utf-8", "replace")
        age = time.time() - path.stat().st_mtime
    except FileNotFoundError:
        return
    # One that crashed between making the file and writing it, or whose writing was lost.
    begun_only = not text.strip("\0") and age > _BEGINNING
    holder = _holder(text)
    held = TableFileError(f"{output.name}: another run writes it: {_by_whom(holder, path)}")
    if not begun_only and not _has_died(holder):
        raise held
    aside = path.with_name(f"{path.name}.{os.getpid()}")
    try:
        os.replace(path, aside)
    except FileNotFoundError:
        return
    except PermissionError:
        raise held from None
    if aside.read_text("utf-8", "replace") != text:
        # Another has been quicker, and this is its own.
        os.link(aside, path)
    aside.unlink()


def _holder(text: str) -> Mapping[str, Any]:
    try:
        holder = json.loads(text)
    except (ValueError, RecursionError):
        return {}
    return holder if isinstance(holder, dict) else {}


def _by_whom(holder: Mapping[str, Any], path: Path) -> str:
    """Who it is, and what people look at before they take the lock away."""
    process, computer = holder.get("process"), holder.get("computer")
    if process is None or computer is None:
        return f"a run that does not say which; if none is at work any more, delete {path}"
    if computer == socket.gethostname():
        return f"process {process} of this computer; if it is none, delete {path}"
    return (
        f"process {process} on {computer}, which cannot be seen from here; look there whether it "
        f"is at work, and if it is not, delete {path}"
    )


def _has_died(holder: Mapping[str, Any]) -> bool:
    process = holder.get("process")
    if holder.get("computer") != socket.gethostname() or not isinstance(process, int):
        return False
    if os.name == "nt":
        return True  # else it cannot be taken away
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return True
    except (OSError, OverflowError):
        return False
    began = _began(process)
    return began is not None and began != holder.get("began")


def _began(process: int) -> str | None:
    """When a process began, as the system counts; another may have got its number since."""
    try:
        stat = Path(f"/proc/{process}/stat").read_text("latin-1")
    except OSError:
        return None
    return stat.rpartition(")")[2].split()[19]
