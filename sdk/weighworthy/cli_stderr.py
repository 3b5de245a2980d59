"""Standard error that may be full, closed or gone: what is said there decides no exit code."""

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import Any, TextIO


class _Forgiving:
    """A stream that loses what it cannot write; ``lost`` tells that it has."""

    def __init__(self, stream: TextIO, *, lost: bool = False) -> None:
        self._stream = stream
        self.lost = lost

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)

    def write(self, text: str) -> int:
        """Write a text, if that can be done."""
        try:
            return self._stream.write(text)
        except OSError:
            self.lost = True
            return len(text)

    def flush(self) -> None:
        """Hand on what is held, if that can be done."""
        try:
            self._stream.flush()
        except OSError:
            self.lost = True


@contextmanager
def forgiving_stderr() -> Iterator[None]:
    """While it lasts, nothing that is said on standard error raises."""
    before = sys.stderr
    if before is None:
        # Closed by who called: `print` would otherwise put it among the data.
        with _nobody() as stream, _in_place(_Forgiving(stream, lost=True)):
            yield
        return
    forgiving = _Forgiving(before)
    with _in_place(forgiving):
        yield
    forgiving.flush()
    if forgiving.lost:
        # What Python still holds for it would make the exit code 120 in the end.
        with suppress(OSError), _nobody() as stream:
            os.dup2(stream.fileno(), before.fileno())


def _nobody() -> TextIO:
    return open(os.devnull, "w", encoding="utf-8")


@contextmanager
def _in_place(stream: Any) -> Iterator[None]:
    before, sys.stderr = sys.stderr, stream
    try:
        yield
    finally:
        sys.stderr = before
