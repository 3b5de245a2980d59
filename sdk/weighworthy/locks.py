"""One run at a time for one output: a file beside it that names the process that writes."""

import json
import os
import socket
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path, PurePath
from typing import Any, TextIO

from weighworthy.errors import TableFileError

# Between looking and taking, another may come; never for long.
_ATTEMPTS = 5


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
        text = path.read_text("utf-8")
    except FileNotFoundError:
        return
    holder = _holder(text)
    process, computer = holder.get("process", "?"), holder.get("computer", "?")
    held = TableFileError(
        f"{output.name}: another run writes it (process {process} on {computer}); "
        f"if there is none any more, delete {path.name}"
    )
    if not _has_died(holder):
        raise held
    aside = path.with_name(f"{path.name}.{os.getpid()}")
    try:
        os.replace(path, aside)
    except FileNotFoundError:
        return
    except PermissionError:
        raise held from None
    if aside.read_text("utf-8") != text:
        # Another has been quicker, and this is its own.
        os.link(aside, path)
    aside.unlink()


def _holder(text: str) -> Mapping[str, Any]:
    try:
        holder = json.loads(text)
    except ValueError:
        return {}
    return holder if isinstance(holder, dict) else {}


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
    except OSError:
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
