"""What the status of all instruments costs: from entries that are read already, and from lines.

`python tests/bench/logbook.py` prints CPU time an entry for 200 instruments, over one year and ten,
a check each a day: taken as they are, put in order, in one pass, and as lines with trusted answers
through the address of the service inside this process, with `json.loads` of the same lines beside
it; and the peak memory of one pass over entries that come one by one, by number of years. It is no
test: figures depend on the machine. Linear means that the rows of both are alike.
"""

import io
import json
import time
import tracemalloc
from collections.abc import Callable, Iterable, Iterator
from datetime import datetime, timedelta
from datetime import time as clock
from decimal import Decimal

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


def lines(log: Iterable[Entry], at: datetime) -> bytes:
    """The log as it is sent: what is asked, then an entry a line."""
    shift = {"days": list(WEEKDAYS), "from": "06:00", "to": "22:00"}
    daily = {"every": "day", "at": "first-use", "grace": "4 h", "after": ["moved"]}
    ladder = [{"step": "repeat", "times": 2}, {"step": "adjust"}, {"step": "out-of-service"}]
    rules = [
        {"checks": ["simulated-loss"], "schedule": daily, "response": ladder},
        {"checks": ["span"], "schedule": {"every": "week", "after": ["moved"]}, "response": ladder},
    ]
    head = {
        "at": at.isoformat(),
        "sorted": True,
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
                    "at": entry.at.isoformat(),
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
    client = create_app().test_client()
    heads = ("years", "entries", "status", "put in order", "one pass", "as lines", "json.loads")
    print(" ".join(f"{head:>12}" for head in heads))
    for years in (1, 10):
        log = list(entries(365 * years))
        at, number = log[-1].at, len(log)
        plain = cpu(lambda log=log, at=at: status(log, at), number)
        ordering = cpu(lambda log=log: in_order(log), number)
        one_pass = cpu(lambda log=log, at=at: status(Sorted(log), at), number)
        body = lines(log, at)
        log.clear()
        sent = cpu(lambda body=body: asked(client, body), number)
        least = cpu(lambda body=body: parsed(body), number)
        figures = (plain, ordering, one_pass, sent, least)
        print(f"{years:12} {number:12} " + " ".join(f"{figure:12.2f}" for figure in figures))
    print("\nPeak memory of one pass, MiB")
    for years in (1, 3):
        tracemalloc.start()
        status(Sorted(entries(365 * years)), START + timedelta(days=365 * years))
        print(f"{years:5} {tracemalloc.get_traced_memory()[1] / 2**20:8.2f}")
        tracemalloc.stop()


if __name__ == "__main__":
    main()
