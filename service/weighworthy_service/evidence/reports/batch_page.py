"""The report of a batch: how many rows, which verdicts, and what must be looked at."""

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from weighworthy_service.evidence.reports.criteria_view import criterion_view, percent
from weighworthy_service.evidence.reports.of_kind import kind_name
from weighworthy_service.evidence.reports.pages import Page, render
from weighworthy_service.evidence.reports.terms import READ_AS, called
from weighworthy_service.evidence.reports.words import Words, words

Data = Mapping[str, Any]

_USABLE: Final = b'"usable":true'
# So many rows of each sort fit a document that people read; the answer itself has all.
MOST: Final = 200


@dataclass(slots=True)
class Told:
    """What a report shows of the lines of an answer: the first rows that let nothing be used, those
    that were not judged, and the summary; `more`: how many of each are left out."""

    summary: Data = field(default_factory=dict)
    unusable: list[Data] = field(default_factory=list)
    refused: list[Data] = field(default_factory=list)
    more: dict[str, int] = field(default_factory=lambda: {"unusable": 0, "refused": 0})

    def take(self, lines: Iterable[bytes]) -> "Told":
        """Go through all lines of an answer, keeping few."""
        for text in lines:
            # By far the most may be used; within a text the same stands with backslashes.
            if _USABLE in text:
                continue
            self.add(json.loads(text))
        return self

    def add(self, line: Data) -> None:
        """Keep one line, if it is to be shown."""
        if "summary" in line:
            self.summary = line["summary"]
        elif "problem" in line:
            self._keep("refused", self.refused, line)
        elif line["answer"]["usable"] is not True:
            self._keep("unusable", self.unusable, line)

    def _keep(self, sort: str, kept: list[Data], line: Data) -> None:
        if len(kept) < MOST:
            kept.append(line)
        else:
            self.more[sort] += 1


def batch_page(told: Told, language: str) -> Page:
    """The document."""
    of_language = words(language)
    summary = told.summary
    verdicts = _verdicts(of_language, summary["verdicts"])
    return render(
        "batch",
        language,
        running=f"weighworthy · {of_language.text('Report of a batch')}",
        summary=summary,
        verdicts=verdicts,
        unusable=[_judged(of_language, line) for line in told.unusable],
        refused=[_refused(line) for line in told.refused],
        more=told.more,
        read_as=[
            (called(of_language, READ_AS, name), _listed(value))
            for name, value in summary["read_as"].items()
            if value not in (None, [])
        ],
    )


def _verdicts(of_language: Words, counts: Mapping[str, int]) -> list[dict[str, Any]]:
    whole = sum(counts.values())
    return [
        {
            "verdict": verdict,
            "count": count,
            "share": count / whole if whole else 0.0,
            "percent": percent(of_language, count / whole if whole else 0.0),
        }
        for verdict, count in counts.items()
    ]


def _judged(of_language: Words, line: Data) -> dict[str, Any]:
    """A check that lets nothing be used: where it stands, and the criterion that decided."""
    answer = line["answer"]
    criterion = deciding(answer)
    return {
        "rows": _rows(line),
        "labels": answer["labels"],
        "kind": kind_name(of_language, answer["check"]),
        "verdict": answer["verdict"],
        "decided": None if criterion is None else criterion_view(of_language, criterion),
        "codes": [one["code"] for one in answer["findings"] if one["severity"] in _GRAVE],
    }


_GRAVE: Final = ("void", "no-pass")


def deciding(answer: Data) -> Data | None:
    """The criterion that has the verdict of a check, if valid; of several that with least room."""
    said = answer["verdict_if_valid"] if answer["verdict"] == "void" else answer["verdict"]
    found = [
        c for c in answer["criteria"] if c["value"] is not None and c["verdict"] == said is not None
    ]
    return min(found, key=_room, default=None)


def _room(criterion: Data) -> float:
    room = criterion["margin"] if criterion["margin"] is not None else criterion["distance"]
    return float(room or 0)


def _refused(line: Data) -> dict[str, Any]:
    problem = line["problem"]
    errors: Sequence[Data] = problem["errors"]
    return {
        "rows": _rows(line),
        "title": problem["title"],
        "detail": problem["detail"],
        "errors": [(_place(error), error["detail"]) for error in errors[:5]],
    }


def _place(error: Data) -> str:
    return ", ".join(str(error[key]) for key in ("column", "cell") if error.get(key)) or str(
        error["pointer"]
    )


def _listed(value: Any) -> str:
    return ", ".join(map(str, value)) if isinstance(value, list | tuple) else str(value)


def _rows(line: Data) -> str:
    sheet = line.get("sheet")
    rows = ", ".join(map(str, line["rows"]))
    return f"{sheet}: {rows}" if sheet else rows
