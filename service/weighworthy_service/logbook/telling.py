"""What logbook answers have in common, in its JSON form: instants, reasons, what was read."""

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from weighworthy_service.checks.outcome import Finding
from weighworthy_service.logbook.book import Book
from weighworthy_service.logbook.entries import Because, Entry


def told_instant(at: datetime | None) -> str | None:
    """RFC 3339, with the offset it has."""
    return None if at is None else at.isoformat()


def told_because(reasons: Iterable[Because]) -> list[dict[str, Any]]:
    """Each an entry's id or the place of a rule, and a sentence."""
    return [{"entry": one.entry, "rule": one.rule, "sentence": one.sentence} for one in reasons]


def told_findings(findings: Iterable[Finding]) -> list[dict[str, Any]]:
    """Findings as check answers have them."""
    return [
        {"code": f.code, "severity": f.severity, "message": f.message, "field": f.field}
        for f in findings
    ]


def told_book(book: Book, engine: dict[str, Any], used: int) -> dict[str, Any]:
    """What every answer says first: the moment, the profile, the engine, and the entries it used.

    `used` counts each entry once that came twice.
    """
    identity = book.profile.identity
    reader = book.reader
    return {
        "at": told_instant(book.at),
        "profile": {"id": identity.id, "revision": identity.revision, "digest": identity.digest},
        "engine": engine,
        "entries": {
            "sent": book.read,
            "used": used,
            "later": book.later,
            "of_others": book.of_others,
            "judged_anew": reader.judged_anew,
            "trusted": reader.trusted,
            "profiles": [
                {"profile": name, "checks": reader.profiles[name]}
                for name in sorted(reader.profiles)
            ],
        },
    }


def judged_otherwise(book: Book, checks: Iterable[Entry | None]) -> list[Finding]:
    """What has to be said of checks that another profile than the logbook's let pass, or failed.

    Revisions of one profile follow each other in any log, and are no news.
    """
    own, found = book.profile.identity.id, []
    for entry in checks:
        said = entry.said if entry else None
        if entry is None or said is None or said.profile is None:
            continue
        if said.profile.partition("@")[0] != own:
            message = (
                f"{said.check} check {entry.id} was judged by {said.profile}, and what is required "
                f"here is said by {book.profile.name}: see that its limits are no wider"
            )
            found.append(Finding("judged-by-another-profile", "warning", message))
    return list(dict.fromkeys(found))
