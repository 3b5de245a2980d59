"""What a reader must know of a repeatability check besides its verdict."""

from collections.abc import Iterator
from decimal import Decimal
from typing import Final

from weighworthy_service.checks.outcome import Finding
from weighworthy_service.checks.placings import is_valued, placing_findings
from weighworthy_service.checks.repeatability.check import RepeatabilityCheck
from weighworthy_service.checks.repeatability.scatter import FLOOR, OBSERVATIONS, Scatter
from weighworthy_service.checks.terms import AtLeast, Terms
from weighworthy_service.checks.validity import count_findings, sitting_findings

# Of fewer, a standard deviation may be half of the true one: common practice, no source.
FEWEST: Final = AtLeast(Decimal(5), "no-pass")

_AT: Final = "/placings"


def remarks(check: RepeatabilityCheck, scatter: Scatter, terms: Terms) -> Iterator[Finding]:
    """On the sitting, the readings, how many there are, and what their scatter says."""
    here, required = check.circumstances, terms.validity.placings or FEWEST
    for finding in sitting_findings(here, dict.fromkeys(check.load), terms):
        # Only that the weights stay the same counts, which needs no calibration (USP <41>).
        spared = finding.code == "weight-overdue" and terms.validity.weights_in_date is None
        yield finding._replace(severity="note") if spared else finding
    yield from placing_findings(check.placings, scatter.nets, here, check.load, terms)
    yield from count_findings(scatter.n, required, "placings", _AT)
    if not is_valued(here, check.load):
        message = (
            "weights without class or certificate will do here: only that they stay the same counts"
        )
        yield Finding("weight-value-not-used", "note", message, "/load")
    yield from _of_scatter(check, scatter)


def _of_scatter(check: RepeatabilityCheck, scatter: Scatter) -> Iterator[Finding]:
    if scatter.n < OBSERVATIONS:
        message = f"USP <41> asks for at least {OBSERVATIONS} placings; these are {scatter.n}"
        yield Finding("few-for-usp-41", "note", message, _AT)
    if not scatter.standard_deviation:
        message = (
            "all net indications are equal: steps of the scale interval hide what scatter there "
            "is, and no balance is without any"
        )
        yield Finding("scatter-not-seen", "warning", message, _AT)
    elif scatter.unresolved:
        message = (
            f"the standard deviation lies below {FLOOR} d, which rounding alone makes; the "
            "smallest net mass rests on that instead"
        )
        yield Finding("scatter-below-floor", "note", message, _AT)
    if scatter.drift.significant:
        message = (
            "the net indications drift in the order of the placings: part of the scatter is that "
            "drift"
        )
        yield Finding("drift-over-placings", "note", message, _AT)
    stated = check.circumstances.instrument.repeatability
    if stated is not None and float(stated) < scatter.interval[0]:
        message = (
            "the repeatability stated for the balance lies below the 95 % interval of what was "
            "found: uncertainties that rest on it are too small"
        )
        yield Finding("repeatability-understated", "warning", message, "/instrument/repeatability")
