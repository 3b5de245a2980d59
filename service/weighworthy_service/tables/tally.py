"""How many checks came to which verdict, and how many rows to none: for those who run a service."""

from collections import Counter
from dataclasses import dataclass, field
from functools import lru_cache
from typing import NamedTuple

from weighworthy_service.checks.outcome import Verdict


class Came(NamedTuple):
    """What a check came to: its kind, the verdict, and the digest of the profile that judged."""

    check: str
    verdict: Verdict | None
    profile: str


@dataclass(slots=True)
class Tally:
    """`judged` counts checks; `refused` counts rows, by the kind of problem that kept them."""

    judged: Counter[Came] = field(default_factory=Counter)
    refused: Counter[str] = field(default_factory=Counter)


@lru_cache(maxsize=256)
def tally_of_one(check: str, verdict: Verdict | None, profile: str) -> Tally:
    """Of a check by itself, which nothing more is added to; arguments as of `Came`."""
    return Tally(judged=Counter({Came(check, verdict, profile): 1}))
