"""Records in the order in which they were sealed: each names the digest of the one before it.

A record that is missing, stands elsewhere or was changed shows without any other memory than the
list itself. What the list cannot show is that its last records are missing: for that, the digest of
the last one has to be known from elsewhere.
"""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Final, NamedTuple

from weighworthy_service.evidence.records.seals import STATES
from weighworthy_service.evidence.records.verification import Verification

# Of breaks and of faults that are told one by one; how many there are is told beside.
MOST: Final = 1000


class Place(NamedTuple):
    """A record in the chain. `position` counts from 1; `line` is where it stands in the input."""

    position: int
    line: int
    digest: str
    stated: str
    sealed_at: str
    previous: str | None


class _Open(NamedTuple):
    """A place where a record does not name the one before it; why is told at the end."""

    here: Place
    before: Place | None


@dataclass
class Chain:
    """Takes records one by one; `document` tells what they come to together."""

    seals: Counter[str] = field(default_factory=Counter)
    count: int = 0
    unreadable: int = 0
    agreeing: int = 0
    first: Place | None = None
    last: Place | None = None
    faults: list[dict[str, Any]] = field(default_factory=list)
    _faulty: int = 0
    _found: list[_Open | dict[str, Any]] = field(default_factory=list)
    _broken: int = 0
    _lines: dict[str, int] = field(default_factory=dict)
    # Whether the entry before could not be read: then nothing is known of its digest.
    _gap: bool = False

    def add(self, line: int, record: Mapping[str, Any], verification: Verification) -> None:
        """The next record, of the right form, and what was found of it by itself."""
        self.count += 1
        seal = verification.seal
        here = Place(
            self.count,
            line,
            seal.digest,
            record["digest"],
            record["sealed_at"],
            record.get("previous"),
        )
        self.seals[seal.state] += 1
        self.agreeing += verification.agrees
        if not verification.agrees or seal.state in ("altered", "unknown-key"):
            self._fault(
                {
                    "line": line,
                    "digest": seal.digest,
                    "seal": seal.state,
                    "agrees": verification.agrees,
                    "profile": verification.profile,
                    "verdict": verification.verdict,
                    "differences": len(verification.told),
                    "reasons": [reason._asdict() for reason in verification.reasons[:MOST]],
                }
            )
        self._link(here)
        self.first = self.first or here
        self.last = here
        self._gap = False

    def add_unreadable(self, line: int, reasons: list[dict[str, Any]]) -> None:
        """The next entry, which is no record."""
        self.count += 1
        self.unreadable += 1
        self._gap = True
        nothing = dict.fromkeys(("digest", "seal", "profile", "verdict", "differences"))
        self._fault({"line": line, **nothing, "agrees": False, "reasons": reasons})

    def document(self, last: str | None) -> dict[str, Any]:
        """What the chain comes to. `last`: the digest that its last record should have."""
        ends = self._ends(last)
        breaks = [self._told(one) if isinstance(one, _Open) else one for one in self._found]
        unbroken = not (self._broken or ends or self.unreadable)
        return {
            "agrees": unbroken and self.agreeing == self.count,
            "records": self.count,
            "unreadable": self.unreadable,
            "agreeing": self.agreeing,
            "seals": {state: self.seals[state] for state in STATES},
            "unbroken": unbroken,
            "first": _shown(self.first),
            "last": _shown(self.last),
            "breaks": breaks + ends,
            "breaks_found": self._broken + len(ends),
            "faults": self.faults,
            "faults_found": self._faulty,
        }

    def _fault(self, fault: dict[str, Any]) -> None:
        self._faulty += 1
        if len(self.faults) < MOST:
            self.faults.append(fault)

    def _link(self, here: Place) -> None:
        known = self._lines.setdefault(here.digest, here.line)
        before = self.last
        if known != here.line:
            self._break(_break(here, "twice", f"it is the record of line {known} once more"))
        elif self._gap:
            said = "the entry before it cannot be read, so whether it follows is not known"
            self._break(_break(here, "before-unreadable", said))
        elif before is not None and here.previous != before.digest:
            self._break(_Open(here, before))
        elif before is not None and _instant(here) < _instant(before):
            said = f"it was sealed at {here.sealed_at}, before line {before.line}"
            self._break(_break(here, "time-goes-back", said))

    def _break(self, found: _Open | dict[str, Any]) -> None:
        self._broken += 1
        if len(self._found) < MOST:
            self._found.append(found)

    def _told(self, found: _Open) -> dict[str, Any]:
        here, before = found
        assert before is not None  # noqa: S101  the first record follows none
        if here.previous is None:
            said = "it names no record before it: a chain begins here"
            return _break(here, "begins-anew", said)
        if here.previous == before.stated:
            said = f"it follows line {before.line} as that was sealed, and that was changed since"
            return _break(here, "before-altered", said)
        line = self._lines.get(here.previous)
        if line is None:
            said = (
                f"it follows a record that is not here: between line {before.line} and this one "
                "at least one is missing, or was changed"
            )
            return _break(here, "missing", said)
        said = f"it follows line {line}, and stands after line {before.line}"
        return _break(here, "order", said)

    def _ends(self, last: str | None) -> list[dict[str, Any]]:
        if last is None or self.last is None or self.last.digest == last:
            return []
        line = self._lines.get(last)
        if line is None:
            said = "the last record is another than was asked for: later ones are missing"
        else:
            said = f"the record that should be the last stands in line {line}"
        return [_break(self.last, "last-differs", said)]


def _break(here: Place, code: str, message: str) -> dict[str, Any]:
    return {
        "line": here.line,
        "code": code,
        "message": message,
        "digest": here.digest,
        "previous": here.previous,
    }


def _instant(place: Place) -> datetime:
    return datetime.fromisoformat(place.sealed_at)


def _shown(place: Place | None) -> dict[str, Any] | None:
    if place is None:
        return None
    return {
        "line": place.line,
        "digest": place.digest,
        "previous": place.previous,
        "sealed_at": place.sealed_at,
    }
