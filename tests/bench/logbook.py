"""What the status of all instruments costs, from entries that are read already.

`python tests/bench/logbook.py` prints CPU time an entry for 200 instruments, over one year and ten,
a check each a day; and the peak memory of one pass over entries that come one by one, by number of
years. It is no test: figures depend on the machine. Linear means that the rows of both are alike.
"""

import time
import tracemalloc
from collections.abc import Callable, Iterable, Iterator
from datetime import datetime, timedelta
from datetime import time as clock
from decimal import Decimal

from weighworthy_service.logbook.calendar import WEEKDAYS, Calendar, Shift
from weighworthy_service.logbook.entries import CheckSaid, Entry
from weighworthy_service.logbook.ordering import Sorted, in_order
from weighworthy_service.logbook.requirements import Requirement, Scheduled
from weighworthy_service.logbook.standing import Standing
from weighworthy_service.logbook.status import InstrumentStatus, status_of
from weighworthy_service.profiles.document import Schedule, Step

INSTRUMENTS = 200
START = datetime.fromisoformat("2016-01-01T06:00:00+01:00")
BERLIN = Calendar("Europe/Berlin", (Shift(WEEKDAYS, clock(6), clock(22)),))
LADDER = (Step("repeat", 2), Step("adjust"), Step("out-of-service"))
REQUIRED = (
    Requirement(
        "simulated-loss",
        (Scheduled(Schedule("day", "first-use", Decimal(14400), ("moved",)), "P /0"),),
        LADDER,
        "P /2",
    ),
    Requirement("span", (Scheduled(Schedule("week", after=("moved",)), "P /1"),), LADDER, "P /2"),
)


def entries(days: int) -> Iterator[Entry]:
    """A check a day and instrument, minutes apart; every seventh of span, one in 200 failed."""
    number = 0
    for day in range(days):
        for instrument in range(INSTRUMENTS):
            number += 1
            usable = number % 200 != 7
            said = CheckSaid(
                "span" if day % 7 == 0 else "simulated-loss",
                "pass" if usable else "fail",
                usable,
                usable,
                None,
                adjusted=False,
                trusted=True,
            )
            at = START + timedelta(days=day, minutes=instrument // 2)
            yield Entry(f"c{number}", "check", at, f"MA-{instrument:03}", said=said)


def status(log: Iterable[Entry], at: datetime) -> list[InstrumentStatus]:
    """Of every instrument, in one pass."""
    standings: dict[str, Standing] = {}
    for entry in log:
        standing = standings.get(entry.instrument)
        if standing is None:
            standing = standings[entry.instrument] = Standing(REQUIRED, BERLIN)
        standing.take(entry)
    return [status_of(standing, at) for standing in standings.values()]


def cpu(run: Callable[[], object], number: int) -> float:
    """The best of three, in µs an entry."""
    times = []
    for _ in range(3):
        start = time.process_time()
        run()
        times.append(time.process_time() - start)
    return min(times) / number * 1e6


def main() -> None:
    """Print both tables."""
    print("CPU time, µs an entry")
    print(f"{'years':>5} {'entries':>8} {'status':>7} {'put in order':>13} {'one pass':>9}")
    for years in (1, 10):
        log = list(entries(365 * years))
        at, number = log[-1].at, len(log)
        plain = cpu(lambda log=log, at=at: status(log, at), number)
        ordering = cpu(lambda log=log: in_order(log), number)
        one_pass = cpu(lambda log=log, at=at: status(Sorted(log), at), number)
        print(f"{years:5} {number:8} {plain:7.2f} {ordering:13.2f} {one_pass:9.2f}")
    print("\nPeak memory of one pass, MiB")
    for years in (1, 3):
        tracemalloc.start()
        status(Sorted(entries(365 * years)), START + timedelta(days=365 * years))
        print(f"{years:5} {tracemalloc.get_traced_memory()[1] / 2**20:8.2f}")
        tracemalloc.stop()


if __name__ == "__main__":
    main()
