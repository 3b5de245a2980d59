"""A year of the logbook of an invented mill, from a physical simulation of its balances.

    python simulate.py [--balances 4] [--days 365] [--seed 1] [--answers] > year.ndjson
    python simulate.py --results results.ndjson --truth truth.ndjson > year.ndjson

Kestrel Mill Foods, its balances, weights and people are invented. The first line says what the
entries after it are held against; then comes one entry a line, in order of time. Checks are
written as requests; with --answers they are judged by the service inside this process and written
as its answers. Results go to a file of their own, one a line, and so does what really happened
(--truth), of which the logbook knows nothing. The same arguments give the same lines.
"""

import argparse
import json
import sys
import tomllib
from collections.abc import Iterable, Iterator
from datetime import date, datetime, time, timedelta
from heapq import merge
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from mill_days import one_year
from mill_year import Plan, calendar, instrument, names

HERE = Path(__file__).parent


def main() -> None:
    asked = arguments()
    plan = Plan(balances=asked.balances, days=asked.days)
    years = [one_year(plan, name, asked.seed) for name in names(plan)]
    first = head(plan)
    entries = in_order(year.entries for year in years)
    if asked.answers:
        entries = answered(entries, first["profile"])
    write(sys.stdout, [first], entries)
    for path, lists in (
        (asked.results, [year.results for year in years]),
        (asked.truth, [year.truth for year in years]),
    ):
        if path:
            with path.open("w", encoding="utf-8", newline="\n") as file:
                write(file, in_order(lists))


def arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description="A year of an invented logbook.")
    parser.add_argument("--balances", type=int, default=Plan.balances)
    parser.add_argument("--days", type=int, default=Plan.days)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--answers", action="store_true", help="checks as answers")
    parser.add_argument("--results", type=Path, metavar="FILE")
    parser.add_argument("--truth", type=Path, metavar="FILE")
    return parser.parse_args()


def head(plan: Plan) -> dict[str, Any]:
    """The first line: everything but the entries; asked about at the end of the last day."""
    last = plan.first_day + timedelta(plan.days - 1)
    return {
        "at": datetime.combine(last, time(22), ZoneInfo(plan.time_zone)).isoformat(),
        "sorted": True,
        "profile": profile(),
        "instruments": [instrument(name, plan) for name in names(plan)],
        "calendar": calendar(plan),
    }


def profile() -> dict[str, Any]:
    """kestrel.toml as JSON has it."""
    text = (HERE / "kestrel.toml").read_text("utf-8")
    found: dict[str, Any] = json.loads(json.dumps(tomllib.loads(text), default=date.isoformat))
    return found


def in_order(lists: Iterable[list[dict[str, Any]]]) -> Iterator[dict[str, Any]]:
    """All lists as one, by time; each is in order itself."""
    return merge(*lists, key=lambda one: datetime.fromisoformat(one["at"]))


def answered(
    entries: Iterable[dict[str, Any]], judged_by: dict[str, Any]
) -> Iterator[dict[str, Any]]:
    """With the answer of the service in place of each request."""
    from weighworthy import Client  # noqa: PLC0415 - nothing else here needs it

    with Client.embedded() as client:
        for entry in entries:
            request = entry.get("request")
            if request is None:
                yield entry
                continue
            answer = client.evaluate(
                request["check"], {**request, "profile": judged_by}, detail="short"
            )
            without = {key: value for key, value in entry.items() if key != "request"}
            yield {**without, "answer": json.loads(answer.raw)}


def write(file: Any, *groups: Iterable[dict[str, Any]]) -> None:
    for group in groups:
        for one in group:
            file.write(json.dumps(one, ensure_ascii=False) + "\n")


if __name__ == "__main__":
    sys.stdout.reconfigure(encoding="utf-8", newline="\n")
    main()
