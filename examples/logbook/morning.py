"""What a laboratory's system runs each morning: may the balances be used, and what is next.

    python examples/logbook/morning.py [LOGBOOK [TIME]]

Prints a line for each balance. Exit code 1 when one must not be used and nobody has taken it out
of service: then somebody may be weighing on it. Without arguments it asks about the logbook of an
invented mill, which a simulation writes.

Uses the service inside this process, or the one at WEIGHWORTHY_URL (key: WEIGHWORTHY_API_KEY).
"""

import os
import sys
import tempfile
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from invented_log import MOMENT, write_log

from weighworthy import Client

# Round may be used, square may not; the word is always beside the shape.
SHAPES = {
    "in-service": "● in service",
    "check-needed": "□ check needed",
    "out-of-service": "■ out of service",
}


def main(arguments: list[str]) -> int:
    if arguments:
        return overview(Path(arguments[0]), arguments[1] if arguments[1:] else None)
    with tempfile.TemporaryDirectory() as folder:
        book, _ = write_log(Path(folder))
        return overview(book, MOMENT)


def overview(book: Path, at: str | None) -> int:
    with client() as service:
        answer = service.logbook.status(book, at=at)
    zone = ZoneInfo(answer.time_zone) if answer.time_zone else None

    def local(instant: str | None) -> str:
        return (
            f"{datetime.fromisoformat(instant).astimezone(zone):%a %d %b %H:%M}" if instant else "–"
        )

    print(f"{local(answer.at)}: {answer.summary['sentence']}\n")
    must_stop = []
    for one in answer.instruments:
        when = f"until {local(one['until'])}" if one["usable"] else f"since {local(one['since'])}"
        print(f"{one['instrument']}  {SHAPES[one['state']]:<16}  {when}")
        if not one["usable"]:
            print(f"       next: {one['next_step']['sentence']}")
            for why in one["because"]:
                print(f"       {why['entry'] or why['rule']}: {why['sentence']}")
            if one["taken_out"] is None:
                must_stop.append(one["instrument"])
    if must_stop:
        print(f"\nMust not be used, and nobody has taken it out: {', '.join(must_stop)}")
    print("(Kestrel Mill Foods, its balances and checks are invented.)")
    return 1 if must_stop else 0


def client() -> Client:
    url = os.environ.get("WEIGHWORTHY_URL")
    if url is None:
        return Client.embedded()
    return Client(url, api_key=os.environ.get("WEIGHWORTHY_API_KEY"))


if __name__ == "__main__":
    # A redirected Windows console would otherwise refuse the shapes.
    sys.stdout.reconfigure(encoding="utf-8")
    sys.exit(main(sys.argv[1:]))
