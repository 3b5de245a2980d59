"""What a reader must know of an eccentricity check besides its verdict."""

from collections.abc import Iterator
from decimal import Decimal
from fractions import Fraction
from typing import Final, NamedTuple

from weighworthy_service.checks.eccentricity.check import EccentricityCheck
from weighworthy_service.checks.eccentricity.places import Pan
from weighworthy_service.checks.outcome import Finding
from weighworthy_service.checks.placings import is_valued, placing_findings
from weighworthy_service.checks.remarks import input_remarks
from weighworthy_service.checks.terms import Terms
from weighworthy_service.checks.validity import count_findings, sitting_findings

# A third of the capacity is usual (OIML R 76-1:2006, 3.6.2, secondary text; cg-18, from memory);
# what counts as far from it is our choice.
LEAST_SHARE: Final = Fraction(1, 4)
MOST_SHARE: Final = Fraction(1, 2)
# Quarters of the pan: common practice, no source.
USUAL_PLACES: Final = 4

_AT: Final = "/placings"


class Moved(NamedTuple):
    """What the centre read more at last than at first, in g, with its expanded uncertainty."""

    value: Decimal
    expanded: Decimal

    @property
    def certain(self) -> bool:
        """Whether rounding and scatter do not explain it."""
        return self.value.copy_abs() > self.expanded


def remarks(
    check: EccentricityCheck, pan: Pan, moved: Moved | None, terms: Terms, *, errors_limited: bool
) -> Iterator[Finding]:
    """On the sitting, the readings, the load, the places, and the centre."""
    here, valued = check.circumstances, is_valued(check.circumstances, check.load)
    for finding in sitting_findings(here, dict.fromkeys(check.load), terms):
        # For differences only that the weights stay the same counts.
        spared = finding.code == "weight-overdue" and terms.validity.weights_in_date is None
        lenient = spared and not errors_limited
        yield finding._replace(severity="note") if lenient else finding
    yield from placing_findings(check.placings, pan.nets, here, check.load, terms)
    yield from count_findings(len(check.placings), terms.validity.placings, "placings", _AT)
    yield from input_remarks(
        here, dict.fromkeys(check.load) if valued else (), built_up=False, buoyancy=True
    )
    if not valued:
        message = (
            "weights without class or certificate will do for differences; errors of indication "
            "cannot be told with them"
        )
        yield Finding("weight-value-missing", "note", message, "/load")
    yield from _of_the_load(check)
    if len(pan.off) < USUAL_PLACES:
        message = f"fewer than {USUAL_PLACES} places off the centre: the largest may lie elsewhere"
        yield Finding("few-positions", "note", message, _AT)
    if all(place.net == pan.centre.net for place in pan.off):
        message = (
            "all places read like the centre: what differs is less than the scale interval shows"
        )
        yield Finding("difference-not-seen", "note", message, _AT)
    if moved is not None and moved.certain:
        message = (
            "the centre reads otherwise at last than at first, by more than rounding and scatter "
            "explain: part of the differences is drift"
        )
        yield Finding("centre-moved", "warning", message, _AT)


def _of_the_load(check: EccentricityCheck) -> Iterator[Finding]:
    capacity = check.circumstances.instrument.capacity
    if capacity is None:
        message = "without the capacity nobody can tell whether the load is near a third of it"
        yield Finding("not-stated", "note", message, "/instrument/capacity")
        return
    load, most = Fraction(check.circumstances.nominal(check.load)), Fraction(capacity)
    if not LEAST_SHARE * most <= load <= MOST_SHARE * most:
        message = "the load is far from a third of the capacity, which is usual for this check"
        yield Finding("load-far-from-third", "note", message, "/load")
