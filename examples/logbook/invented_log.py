"""The logbook that the examples beside this ask about, made anew when it is needed.

Two months of four balances of an invented mill, from simulate.py, and the moment that is asked
about: the morning on which the weekly span check of one of them has just failed.
"""

import subprocess
import sys
from pathlib import Path

HERE = Path(__file__).parent
MOMENT = "2025-05-12T06:15:00+02:00"
_HISTORY = ("--balances", "4", "--days", "60", "--seed", "2")


def write_log(folder: Path) -> tuple[Path, Path]:
    """The logbook and its results, as files in a folder."""
    book, results = folder / "log.ndjson", folder / "results.ndjson"
    script = [sys.executable, str(HERE / "simulate.py"), *_HISTORY, "--results", str(results)]
    with book.open("wb") as file:
        subprocess.run(script, stdout=file, check=True)  # noqa: S603 - of this folder
    return book, results
