"""How far a table is: rows, rows a second, time left; shown on one line of a terminal."""

import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import TextIO

_EVERY = 0.2


@dataclass(frozen=True, slots=True)
class Progress:
    """``rows`` judged, in error or skipped so far, ``share`` of the work (0 to 1), ``seconds``.

    ``rows_before`` and ``share_before`` had been done by an earlier run.
    """

    rows: int
    share: float
    seconds: float
    rows_before: int = 0
    share_before: float = 0.0

    @property
    def rate(self) -> float:
        """Rows a second."""
        return (self.rows - self.rows_before) / self.seconds if self.seconds > 0 else 0.0

    @property
    def left(self) -> float | None:
        """Seconds left at this rate; ``None`` while nothing is known."""
        made = self.share - self.share_before
        if made <= 0 or self.seconds <= 0:
            return None
        return self.seconds * max(0.0, 1 - self.share) / made


Tell = Callable[[Progress], None]


def terminal(stream: TextIO | None = None, now: Callable[[], float] = time.monotonic) -> Tell:
    """Shows progress on a line that is written over; nothing where nobody looks on."""
    out = sys.stderr if stream is None else stream
    if not out.isatty():
        return silent
    shown = {"at": float("-inf"), "width": 0.0}

    def tell(progress: Progress) -> None:
        ended = progress.share >= 1
        if not ended and now() < shown["at"] + _EVERY:
            return
        text = "" if ended else line_of(progress)
        out.write("\r" + text.ljust(int(shown["width"])) + ("\r" if ended else ""))
        out.flush()
        shown["at"], shown["width"] = now(), len(text)

    return tell


def silent(_: Progress) -> None:
    """Tells nobody."""


def line_of(progress: Progress) -> str:
    """``[########            ]  40 %   120,000 rows   31,200 rows/s   0:06 left``."""
    full = int(20 * min(1.0, progress.share))
    left = "" if progress.left is None else f"   {_clock(progress.left)} left"
    return (
        f"[{'#' * full}{' ' * (20 - full)}] {progress.share:4.0%}   {progress.rows:,} rows   "
        f"{progress.rate:,.0f} rows/s{left}"
    )


def _clock(seconds: float) -> str:
    whole = round(seconds)
    hours, minutes = whole // 3600, whole // 60 % 60
    return f"{hours}:{minutes:02}:{whole % 60:02}" if hours else f"{minutes}:{whole % 60:02}"
