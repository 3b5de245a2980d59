"""Makes an export as laboratories have them: title, semicolons, decimal commas, odd cells.

Everything in it is invented. `python make_export.py 40 > harbour.csv` writes the file beside this
one; the same number of rows gives the same bytes.
"""

import random
import sys
from collections.abc import Iterator
from datetime import datetime, timedelta

HEADER = (
    "No;Balance;Date;Time;Done by;Batch;Warm-up [min];Heated;"
    "Start weight [g];End weight [g];Loss [%];Remark"
)


def lines(rows: int) -> Iterator[str]:
    """Title, header and so many rows, with a blank row after every 500th."""
    chance = random.Random(7)  # noqa: S311 - figures of an example, not a secret
    at = datetime(2025, 1, 6, 6, 30)  # noqa: DTZ001 - local times without offset, as exports have
    yield "Kestrel Mill Foods (invented);harbour;balance checks"
    yield ""
    yield HEADER
    for number in range(1, rows + 1):
        at += timedelta(minutes=chance.randrange(20, 200))
        yield ";".join(_cells(number, at, chance))
        if number % 500 == 0:
            yield ""


def _cells(number: int, at: datetime, chance: random.Random) -> Iterator[str]:
    start = 12.0 + chance.gauss(0, 0.0012)
    end = 10.0 + chance.gauss(0, 0.0012)
    yield str(number)
    yield chance.choice(("MA-07", "MA-08"))
    yield at.strftime("%d.%m.%Y")
    yield at.strftime("%H:%M")
    yield chance.choice(("A. Brook", "C. Field", "K. Strand"))
    yield f"R{1000 + number}"
    yield str(chance.randrange(60, 300, 30))
    yield chance.choice(("yes", "no"))
    yield _comma(start, 3)
    # What an instrument writes when it has nothing to say.
    yield "---" if number % 173 == 0 else _comma(end, 3)
    yield _comma(100 * (start - end) / start, 2)
    yield "=see note" if number % 97 == 0 else ""


def _comma(value: float, digits: int) -> str:
    return f"{value:.{digits}f}".replace(".", ",")


if __name__ == "__main__":
    text = "\r\n".join(lines(int(sys.argv[1]) if len(sys.argv) > 1 else 40)) + "\r\n"
    sys.stdout.buffer.write(text.encode())
