"""What the status of all instruments costs: from entries that are read already, and from lines.

`python tests/bench/logbook.py` prints CPU time an entry for 200 instruments, over one year and ten,
a check each a day: taken as they are, put in order, in one pass; and as lines with trusted answers
through the address of the service inside this process, with the promise that they are `sorted` and
without it, and `json.loads` of the same lines beside them. Then the peak memory of these requests,
beyond the body that is sent. It is no test: figures depend on the machine. They are medians of runs
one after another in turn. Linear means that the rows of both are alike.
"""

import io
import json
import time
import tracemalloc
from collections.abc import Callable, Iterable, Iterator
from datetime import datetime, timedelta
from datetime import time as clock
from decimal import Decimal
from statistics import median
from zoneinfo import ZoneInfo

from flask.testing import FlaskClient

from weighworthy_service.logbook.calendar import WEEKDAYS, Calendar, Shift
from weighworthy_service.logbook.entries import CheckSaid, Entry
from weighworthy_service.logbook.ordering import Sorted, in_order
from weighworthy_service.logbook.requirements import Requirement, Scheduled
from weighworthy_service.logbook.standing import Standing
from weighworthy_service.logbook.status import InstrumentStatus, status_of
from weighworthy_service.profiles.document import Schedule, Step
from weighworthy_service.web.app import create_app

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


def lines(log: Iterable[Entry], at: datetime, *, ordered: bool = True) -> bytes:
    """The log as it is sent: what is asked, then an entry a line, in the time of the place."""
    zone = ZoneInfo("Europe/Berlin")
    shift = {"days": list(WEEKDAYS), "from": "06:00", "to": "22:00"}
    daily = {"every": "day", "at": "first-use", "grace": "4 h", "after": ["moved"]}
    ladder = [{"step": "repeat", "times": 2}, {"step": "adjust"}, {"step": "out-of-service"}]
    rules = [
        {"checks": ["simulated-loss"], "schedule": daily, "response": ladder},
        {"checks": ["span"], "schedule": {"every": "week", "after": ["moved"]}, "response": ladder},
    ]
    head = {
        "at": at.isoformat(),
        "sorted": ordered,
        "profile": {"id": "bench", "revision": "1", "rules": rules},
        "calendar": {"time_zone": "Europe/Berlin", "shifts": [shift]},
    }
    written = [json.dumps(head)]
    for entry in log:
        said = entry.said
        assert said is not None
        answer = {
            "check": said.check,
            "verdict": said.verdict,
            "verdict_as_found": said.verdict,
            "usable": said.usable,
        }
        written.append(
            json.dumps(
                {
                    "id": entry.id,
                    "kind": "check",
                    "at": entry.at.astimezone(zone).isoformat(),
                    "instrument": entry.instrument,
                    "answer": answer,
                }
            )
        )
    return "\n".join(written).encode() + b"\n"


def asked(client: FlaskClient, body: bytes) -> None:
    """The whole way through the service, without a socket."""
    reply = client.post("/v1/logbook/status", data=body, content_type="application/x-ndjson")
    assert reply.status_code == 200, reply.data


def parsed(body: bytes) -> None:
    """What reading the lines alone costs at least."""
    for line in io.BytesIO(body):
        json.loads(line)


def cpu(number: int, *runs: Callable[[], object]) -> list[float]:
    """Of each the median of five, in µs an entry."""
    times: list[list[float]] = [[] for _ in runs]
    for _ in range(5):
        for run, taken in zip(runs, times, strict=True):
            start = time.process_time()
            run()
            taken.append((time.process_time() - start) / number * 1e6)
    return [median(taken) for taken in times]


def peak(client: FlaskClient, body: bytes) -> float:
    """In MiB."""
    tracemalloc.start()
    asked(client, body)
    found = tracemalloc.get_traced_memory()[1] / 2**20
    tracemalloc.stop()
    return found


def main() -> None:
    """Print all tables."""
    client = create_app().test_client()
    asked(client, lines(entries(2), START + timedelta(days=2)))
    sizes = []
    print("CPU time, µs an entry; lines: from lines, in process, trusted")
    heads = ("years", "entries", "status", "put in order", "one pass")
    print(" ".join(f"{head:>12}" for head in (*heads, "lines", "not sorted", "json.loads")))
    for years in (1, 10):
        log = list(entries(365 * years))
        at, number = log[-1].at, len(log)
        of_entries = cpu(
            number,
            lambda log=log, at=at: status(log, at),
            lambda log=log: in_order(log),
            lambda log=log, at=at: status(Sorted(log), at),
        )
        body, other = lines(log, at), lines(log, at, ordered=False)
        log.clear()
        of_lines = cpu(
            number,
            lambda body=body: asked(client, body),
            lambda other=other: asked(client, other),
            lambda body=body: parsed(body),
        )
        figures = " ".join(f"{figure:12.2f}" for figure in (*of_entries, *of_lines))
        print(f"{years:12} {number:12} {figures}", flush=True)
        sizes.append((years, len(body), peak(client, body), peak(client, other)))
    print("\nPeak memory of a request, MiB: lines that are sorted, and that are not")
    for years, size, ordered, unordered in sizes:
        print(f"{years:12} {ordered:12.2f} {unordered:12.2f}   for a body of {size / 2**20:.1f}")


if __name__ == "__main__":
    main()
