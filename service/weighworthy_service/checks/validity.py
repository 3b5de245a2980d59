"""Was the check validly done? Each condition either holds or yields its finding."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.outcome import Finding
from weighworthy_service.checks.terms import AtLeast, ScatterShare, Severity, Terms
from weighworthy_service.json_document import pointer
from weighworthy_service.metrology.instrument import Instrument
from weighworthy_service.metrology.quantity import EXACT
from weighworthy_service.metrology.rounding import rounded, rounded_up
from weighworthy_service.metrology.weights import ReferenceWeight


@dataclass(frozen=True, slots=True)
class Observed:
    """A reading as it stands in the request: where, its value in g, whether it had settled."""

    place: tuple[str | int, ...]
    value: Decimal
    object_place: tuple[str | int, ...]
    stable: bool | None


def reading_findings(
    readings: Iterable[Observed], circumstances: Circumstances, terms: Terms
) -> Iterator[Finding]:
    """Overload, readings that had not settled, indications off the scale interval."""
    judged_stable = set()
    for reading in readings:
        yield from indication_findings(reading.value, circumstances.instrument, reading.place)
        if reading.object_place not in judged_stable:
            judged_stable.add(reading.object_place)
            yield from settled(reading.object_place, reading.stable, terms.validity.stable)


def indication_findings(
    value: Decimal, instrument: Instrument, place: tuple[str | int, ...]
) -> list[Finding]:
    """Overload, and an indication off the scale interval; mostly neither."""
    found = []
    if instrument.capacity is not None and value > instrument.capacity:
        message = "the indication is above the capacity"
        found.append(Finding("overload", "void", message, pointer(*place)))
    if EXACT.remainder(value, instrument.scale_interval):
        message = "the indication is no multiple of the scale interval"
        code = "indication-off-scale-interval"
        found.append(Finding(code, "warning", message, pointer(*place)))
    return found


def settled(
    object_place: tuple[str | int, ...], stable: bool | None, required: Severity | None
) -> Iterator[Finding]:
    """Whether the readings of one object had settled, as far as the request says."""
    if stable is False:
        message = "the reading had not settled"
        field = pointer(*object_place, "stable")
        yield Finding("unstable", required or "void", message, field)
    elif stable is None and required is not None:
        message = "the profile requires a statement that the reading had settled"
        yield Finding("not-stated", required, message, pointer(*object_place, "stable"))


def sitting_findings(
    circumstances: Circumstances, used: Iterable[str], terms: Terms
) -> Iterator[Finding]:
    """Warm-up, due dates and classes of the weights used."""
    validity = terms.validity
    warm_up = validity.warm_up
    if warm_up is not None:
        if circumstances.warm_up is None:
            yield Finding(
                "not-stated",
                warm_up.otherwise,
                "the profile requires a warm-up time, and the request states none",
                "/warm_up",
            )
        elif circumstances.warm_up < warm_up.at_least:
            minutes = rounded(Fraction(warm_up.at_least) / 60, 6)
            message = f"warmed up for less than the {minutes:f} min required"
            yield Finding("warm-up-short", warm_up.otherwise, message, "/warm_up")
    for name in used:
        weight = circumstances.weights[name]
        yield from _in_date(weight, circumstances, validity.weights_in_date)
        yield from _in_class(weight, validity.weights_in_class)


def _in_date(
    weight: ReferenceWeight, circumstances: Circumstances, required: Severity | None
) -> Iterator[Finding]:
    due, performed = weight.due_on, circumstances.performed_at
    calibrated = weight.calibrated_on
    if calibrated is not None and performed is not None and performed.date() < calibrated:
        message = f"{weight.name} was calibrated only after the check was done"
        place = pointer("weights", weight.name, "calibrated_on")
        yield Finding("calibrated-after-check", "warning", message, place)
    field = pointer("weights", weight.name, "due_on")
    if due is None:
        if required is not None:
            message = f"the profile requires weights in date, and {weight.name} states no due date"
            yield Finding("not-stated", required, message, field)
    elif performed is None:
        message = f"without performed_at nobody can tell whether {weight.name} was in date"
        yield Finding("not-stated", required or "note", message, "/performed_at")
    elif performed.date() > due:
        # The local date where the check was done; the day itself is still in date.
        message = f"{weight.name} was due for calibration on {due}"
        yield Finding("weight-overdue", required or "void", message, field)


def _in_class(weight: ReferenceWeight, required: Severity | None) -> Iterator[Finding]:
    limit = weight.class_limit
    if not weight.certified or limit is None:
        if required is not None and limit is None:
            message = f"the profile requires weights of a class, and {weight.name} states none"
            field = pointer("weights", weight.name, "weight_class")
            yield Finding("not-stated", required, message, field)
        return
    expanded = weight.certified_expanded_uncertainty
    field = pointer("weights", weight.name)
    # OIML R 111-1:2004, 5.3.1 and 5.2 (clauses from memory).
    off = EXACT.subtract(weight.mass, weight.nominal).copy_abs()
    if off > Fraction(limit) - expanded:
        message = f"{weight.name}: the certificate does not show the mass within its class"
        yield Finding("weight-outside-class", required or "warning", message, field)
    if 3 * expanded > limit:
        message = (
            f"{weight.name}: the certificate's uncertainty is above a third of its class limit"
        )
        yield Finding("certificate-too-coarse", "warning", message, field)


def scatter_findings(
    circumstances: Circumstances, load: Decimal, required: ScatterShare | None, field: str
) -> Iterator[Finding]:
    """Is the load large enough for the scatter of the balance? 2·max(s, floor·d)/load <= share."""
    if required is None:
        return
    instrument = circumstances.instrument
    stated, n = instrument.repeatability, instrument.repeatability_observations
    if stated is None:
        message = "the profile holds the scatter against the load, and no repeatability is stated"
        yield Finding("not-stated", required.otherwise, message, "/instrument/repeatability")
        return
    if n is None or n < required.observations:
        message = f"the repeatability must rest on at least {required.observations} observations"
        place = "/instrument/repeatability_observations"
        yield Finding("too-few-observations", required.otherwise, message, place)
    scatter = max(Fraction(stated), Fraction(required.floor) * Fraction(instrument.scale_interval))
    if 200 * scatter > Fraction(required.share) * Fraction(load):
        least = rounded_up(200 * scatter / Fraction(required.share), 3)
        message = (
            f"twice the scatter is more than {required.share} % of this load; "
            f"the smallest that this balance can weigh so is {least:f} g"
        )
        yield Finding("net-mass-too-small", required.otherwise, message, field)


def count_findings(
    count: int, required: AtLeast | None, what: str, field: str
) -> Iterator[Finding]:
    """Too few points or rounds."""
    if required is not None and count < required.at_least:
        message = f"{count} {what} of at least {required.at_least:f}"
        yield Finding(f"too-few-{what}", required.otherwise, message, field)
