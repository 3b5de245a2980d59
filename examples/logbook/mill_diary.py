"""What is written down at one balance of the invented mill, and what really happened there."""

from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo


@dataclass
class Year:
    """What one balance leaves: `entries` and `results` in their JSON form, `truth` beside.

    `seen` gives for the id of each check what the person saw: "passed", "failed" or "void".
    """

    entries: list[dict[str, Any]] = field(default_factory=list)
    results: list[dict[str, Any]] = field(default_factory=list)
    truth: list[dict[str, Any]] = field(default_factory=list)
    seen: dict[str, str] = field(default_factory=dict)


@dataclass
class Diary:
    """Writes entries on `day`, local time, by the `person` who is on duty."""

    name: str
    zone: ZoneInfo
    day: date
    person: str = ""
    year: Year = field(default_factory=Year)

    def write(self, kind: str, minute: float, **more: Any) -> str:
        """Enter something at a minute of the day, by whoever is on duty; returns its id."""
        number = f"{self.name}-{len(self.year.entries) + 1:04d}"
        entry = {"id": number, "kind": kind, "at": self.at(minute), "instrument": self.name}
        self.year.entries.append({**entry, "by": self.person, **more})
        return number

    def tell(self, what: str, minute: float, **more: Any) -> None:
        """Write down what really happened."""
        event = {"at": self.at(minute), "instrument": self.name, "what": what, **more}
        self.year.truth.append(event)

    def at(self, minute: float) -> str:
        """Local time of a minute of the day, to the minute."""
        moment = datetime.combine(self.day, time(), self.zone) + timedelta(minutes=int(minute))
        return moment.isoformat()
