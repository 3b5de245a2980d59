"""A comparison over more past checks than one call takes: asked for in groups, and added up.

The sum is what one answer over all of them would be.
"""

import json
import time
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any, TypeAlias

from weighworthy.errors import DeadlineExceeded, ProtocolError, TimedOut
from weighworthy.profile_results import Comparison, read_comparison

Past: TypeAlias = Sequence[Mapping[str, Any]]
Ask: TypeAlias = Callable[[dict[str, Any]], tuple[bytes, str | None]]
Progress: TypeAlias = Callable[[int, int], None]

# The time of a check grows with its readings, hence roughly with its bytes: the first group is
# small, and what it took decides on the size of the next.
SECONDS = 3.0
FIRST, LEAST, MOST = 32 * 1024, 2 * 1024, 256 * 1024
MOST_CHECKS = 1000
# As many as a service takes, and as many as it names of those that have a finding.
_MOST_CARRIERS, _NAMED = 5000, 20


def compare_past(ask: Ask, request: dict[str, Any], past: Past, progress: Progress) -> Comparison:
    """Compare for past checks; ``request`` has all but these.

    ``progress`` is told how many are done, and of how many. Raises as ``ask``, and `ProtocolError`
    when an answer cannot be added up.
    """
    sizes = [len(json.dumps(one, ensure_ascii=False).encode()) for one in past]
    if sum(sizes) <= FIRST and len(past) <= MOST_CHECKS:
        return read_comparison(*ask({**request, "requests": past}))
    settings = {**request, "part": "settings", "requests": _carriers(past)}
    whole, request_id = ask(settings)
    read_comparison(whole, request_id)  # refuses what is no answer of this kind
    sides = {name: request.get(name) for name in ("before", "after", "performed_on")}
    answers: list[tuple[int, bytes]] = []
    done, room = 0, FIRST
    while done < len(past):
        end = _end(sizes, done, room)
        size, began = sum(sizes[done:end]), time.monotonic()
        try:
            verdicts, request_id = ask({**sides, "part": "verdicts", "requests": past[done:end]})
        except (TimedOut, DeadlineExceeded):
            if end - done == 1:
                raise
            room = size // 8
            continue
        took = max(time.monotonic() - began, 0.001)
        room = max(LEAST, min(MOST, 4 * room, int(size * SECONDS / took)))
        read_comparison(verdicts, request_id)
        answers.append((done, verdicts))
        done = end
        progress(done, len(past))
    try:
        raw = _added_up(whole, answers)
    except (ArithmeticError, AttributeError, LookupError, TypeError, ValueError) as error:
        message = f"answers that cannot be added up: {error!r}"
        raise ProtocolError(message, request_id=request_id) from None
    return read_comparison(raw, request_id)


def _end(sizes: Sequence[int], begin: int, room: int) -> int:
    """Where a group ends that fits; it has at least one check."""
    end, size = begin + 1, sizes[begin]
    while end < len(sizes) and end - begin < MOST_CHECKS and size + sizes[end] <= room:
        size += sizes[end]
        end += 1
    return end


def _carriers(past: Past) -> list[dict[str, Any]]:
    """What settings are compared for: each balance and each method of the checks once."""
    found: dict[str, dict[str, Any]] = {}
    for one in past:
        for name in ("instrument", "method"):
            if one.get(name) is not None:
                found.setdefault(json.dumps([name, one[name]]), {name: one[name]})
    return list(found.values())[:_MOST_CARRIERS]


def _added_up(whole: bytes, answers: Iterable[tuple[int, bytes]]) -> bytes:
    """One answer; ``answers`` with the place of their first check among all."""
    parts = [(first, json.loads(raw)["verdicts"]) for first, raw in answers]

    def total(name: str) -> int:
        return sum(part[name] for _, part in parts)

    def counts(name: str) -> dict[str, int]:
        added: Counter[str] = Counter()
        for _, part in parts:
            added.update(part[name])
        return dict(sorted(added.items(), key=lambda item: (-item[1], item[0])))

    def rows(name: str) -> list[Any]:
        return [
            {**row, "index": first + row["index"]} for first, part in parts for row in part[name]
        ]

    verdicts = {
        **{name: total(name) for name in ("requests", "changed", "unchanged", "refused")},
        **{name: counts(name) for name in ("counts", "unchanged_counts")},
        "changes": rows("changes"),
        "findings": _findings(parts),
        "refusals": rows("refusals"),
        # A weight is met if one group has it.
        "weights_not_met": {
            side: sorted(set.intersection(*(set(p["weights_not_met"][side]) for _, p in parts)))
            for side in ("before", "after")
        },
    }
    document = {**json.loads(whole), "verdicts": verdicts}
    text = json.dumps(document, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return text.encode()


def _findings(parts: Iterable[tuple[int, Any]]) -> list[Any]:
    found: dict[tuple[str, str, str], Any] = {}
    for first, part in parts:
        for row in part["findings"]:
            key = (row["change"], row["code"], row["severity"])
            known = found.setdefault(key, {**row, "requests": 0, "indexes": []})
            known["requests"] += row["requests"]
            known["indexes"] += [first + index for index in row["indexes"]]
    return [{**row, "indexes": row["indexes"][:_NAMED]} for _, row in sorted(found.items())]
