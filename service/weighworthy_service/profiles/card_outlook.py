"""What a check can come to at best, before anybody has read a display."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from weighworthy_service.checks.bench.card import stage_of
from weighworthy_service.checks.bench.reasons import SPOILING, reasons, remedies, tell
from weighworthy_service.checks.bench.scan import CardReading
from weighworthy_service.checks.flaws import SenseError
from weighworthy_service.checks.kind import Kind
from weighworthy_service.checks.outcome import VERDICTS, Evaluation, Verdict
from weighworthy_service.checks.terms import COUNTS, Terms
from weighworthy_service.profiles.card_check import card_part, complete_check


@dataclass(frozen=True, slots=True)
class Outlook:
    """The best verdict that displays can get; None: nothing is judged, or no check can be made.

    `usable`: whether it lets the balance be used. `spoils`: whether even displays within the limits
    count for nothing; then those outside are void too, or with `no-pass` still a fail. `evaluation`
    is that of the best check.
    """

    at_best: Verdict | None
    usable: bool
    spoils: str | None
    obstacles: tuple[str, ...]
    remedies: tuple[str, ...]
    evaluation: Evaluation | None


def outlook(kind: Kind, check: Any, terms: Terms, readings: Sequence[CardReading]) -> Outlook:
    """What the check comes to with every reading among the best of its range.

    Tried are the displays of a perfect balance, as far as they are in the ranges, and the middles
    of the ranges: limits on several readings together may suit one of them alone.
    """
    if card_part(kind).ranges is None:
        terms = _without_counts(terms)
    tried: list[Evaluation] = []
    refused: list[str] = []
    for middle in (False, True):
        try:
            whole = complete_check(kind, check, terms, readings, middle=middle)
            tried.append(kind.evaluate(whole, terms))
        except SenseError as error:  # like a load that the display cannot tell from nothing
            refused += [flaw.detail for flaw in error.flaws]
    if not tried:
        return Outlook(None, False, "void", tuple(dict.fromkeys(refused)), tell(), None)
    best = min(tried, key=lambda e: len(VERDICTS) if e.verdict is None else _rank(e.verdict))
    usable = terms.lets_use(best.verdict) is True
    obstacles = [] if best.verdict == "pass" else [*_of_readings(check, readings), *reasons(best)]
    if best.verdict == "pass" and not usable:
        obstacles = ["under this profile not even a pass lets the balance be used"]
    severities = {f.severity for f in best.findings} if best.verdict == "void" else set()
    return Outlook(
        best.verdict,
        usable,
        next((severity for severity in SPOILING if severity in severities), None),
        tuple(dict.fromkeys(obstacles)),
        () if usable else remedies(best),
        best,
    )


def spoilt(reading: CardReading, spoils: str) -> CardReading:
    """A reading of a check that counts for nothing: no displayed value gets anything better."""
    elsewhere: tuple[Verdict, ...] = ("void",) if spoils == "void" else ("fail", "void")
    return replace(reading, bands=(), elsewhere=elsewhere)


def _without_counts(terms: Terms) -> Terms:
    """For a check that was only rehearsed: it has few readings, whatever a real one will have."""
    validity = replace(terms.validity, **dict.fromkeys(COUNTS))
    return replace(terms, validity=validity)


def _rank(verdict: Verdict) -> int:
    return VERDICTS.index(verdict)


def _of_readings(check: Any, readings: Sequence[CardReading]) -> list[str]:
    """Why none of the displayed values of a reading pass; of a loss, after any start."""
    # What holds after an adjustment is no obstacle as long as nobody has adjusted.
    here = [r for r in readings if r.required and r.stage in (None, stage_of(check))]
    passing = {(r.reading, r.load) for r in here if r.passes}
    return [m for r in here if (r.reading, r.load) not in passing for m in r.messages]
