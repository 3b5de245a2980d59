"""What a reader must know of a heater check besides its verdict."""

from collections.abc import Iterator, Sequence
from decimal import Decimal
from typing import Final

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.heater.chamber import SetPointRead
from weighworthy_service.checks.heater.check import HeaterCheck, Probe
from weighworthy_service.checks.outcome import Finding
from weighworthy_service.checks.terms import AtLeast, Severity, Terms
from weighworthy_service.checks.validity import settled, sitting_findings
from weighworthy_service.json_document import pointer
from weighworthy_service.metrology.budget import t_quantile
from weighworthy_service.metrology.quantity import EXACT

# One set point cannot tell an offset from an error that grows with temperature (common practice,
# no source). A profile of a site that dries at one temperature alone may ask for one.
SET_POINTS: Final = AtLeast(Decimal(2), "no-pass")
# Two-sided; readings that follow the ups and downs of a controller need not be told as a drift.
DRIFT_LEVEL: Final = 0.99


def remarks(check: HeaterCheck, points: Sequence[SetPointRead], terms: Terms) -> list[Finding]:
    """Findings on the whole check; those on limits come with the criteria."""
    found = [
        *sitting_findings(check.circumstances, (), terms),
        *_of_the_probe(check.probe, check.circumstances, terms.validity.weights_in_date),
        *_of_the_number(points, terms.validity.set_points or SET_POINTS),
        *_of_the_place(check),
    ]
    for point in points:
        found += _of_a_set_point(check, point, terms)
    return found


def _of_the_probe(
    probe: Probe, here: Circumstances, required: Severity | None
) -> Iterator[Finding]:
    performed, due = here.performed_at, probe.due_on
    if due is None:
        if required is not None:
            message = "the profile requires references in date, and the probe states no due date"
            yield Finding("not-stated", required, message, "/probe/due_on")
    elif performed is None:
        message = "without performed_at nobody can tell whether the probe was in date"
        yield Finding("not-stated", required or "note", message, "/performed_at")
    elif performed.date() > due:
        # The local date where the check was done; the day itself is still in date.
        message = f"the probe was due for calibration on {due}"
        yield Finding("probe-overdue", required or "void", message, "/probe/due_on")
    calibrated = probe.calibrated_on
    if calibrated is not None and performed is not None and performed.date() < calibrated:
        message = "the probe was calibrated only after the check was done"
        yield Finding("calibrated-after-check", "warning", message, "/probe/calibrated_on")
    if not probe.corrections:
        message = "no corrections of the probe are stated: its readings count as they stand"
        yield Finding("corrections-not-stated", "warning", message, "/probe/corrections")
    if probe.immersion_allowance is None:
        message = (
            "nothing is stated of heat that flows along the probe: the uncertainty is a lower bound"
        )
        field = "/probe/immersion_allowance"
        yield Finding("immersion-not-stated", "warning", message, field)
    if probe.drift is None:
        message = "no drift of the probe since its certificate is stated, and none is included"
        yield Finding("probe-drift-not-included", "note", message, "/probe/drift")
    if probe.coverage_factor is None:
        message = "the coverage factor of the probe's certificate is taken as 2"
        yield Finding("coverage-factor-assumed", "note", message, "/probe/coverage_factor")


def _of_the_number(points: Sequence[SetPointRead], required: AtLeast) -> Iterator[Finding]:
    count = len({point.point.set for point in points})
    if count < required.at_least:
        message = f"{count} different set points of at least {required.at_least:f}"
        yield Finding("too-few-set-points", required.otherwise, message, "/set_points")


def _of_the_place(check: HeaterCheck) -> Iterator[Finding]:
    if check.place is None:
        message = "where the probe was is not stated: nobody can repeat this at the same place"
        yield Finding("place-not-stated", "note", message, "/place")
    message = "a probe near the pan disturbs the chamber and need not show the sample's temperature"
    yield Finding("probe-is-not-the-sample", "note", message, "/probe")


def _of_a_set_point(check: HeaterCheck, point: SetPointRead, terms: Terms) -> Iterator[Finding]:
    place = ("set_points", point.index)
    readings = pointer(*place, "readings")
    yield from settled(place, point.point.stable, terms.validity.stable)
    if point.corrected is None:
        message = (
            "the readings lie outside the corrections of the certificate, and nothing tells theirs"
        )
        yield Finding("outside-certificate", "void", message, readings)
    if point.count == 1:
        message = "one reading shows no scatter: the uncertainty is a lower bound"
        yield Finding("one-reading", "warning", message, readings)
    if any(EXACT.remainder(t, check.probe.interval) for t in point.point.readings):
        message = "a reading is no multiple of the step of the probe"
        yield Finding("reading-off-interval", "warning", message, readings)
    if point.band is not None and any(map(point.off_band, point.point.readings)):
        message = "readings lie outside the band within which settled_within means settled"
        yield Finding("not-settled", terms.validity.stable or "void", message, readings)
    if is_drifting(check, point):
        message = "the temperature was still changing from the first of the readings to the last"
        yield Finding("still-drifting", "warning", message, readings)
    if point.point.displayed is not None and check.display_interval is None:
        message = "the step of the display is not stated: the uncertainty is a lower bound"
        yield Finding("display-interval-not-stated", "warning", message, "/display_interval")
    yield from _of_the_series(point, pointer(*place, "series"))


def is_drifting(check: HeaterCheck, point: SetPointRead) -> bool:
    """Whether readings change by more than a step of the probe, and more than scatter explains."""
    found = point.drifting
    if found is None or abs(found.change) <= check.probe.interval:
        return False
    least = t_quantile((1 + DRIFT_LEVEL) / 2, found.degrees_of_freedom)
    return abs(float(found.change)) > least * float(found.standard_uncertainty)


def _of_the_series(point: SetPointRead, field: str) -> Iterator[Finding]:
    series, found = point.point.series, point.settling
    if not series:
        return
    if found is None:
        message = "the series begins within the band: no settling time follows from it"
        if point.off_band(series[-1].temperature):
            message = "the series ends outside the band: no settling time follows from it"
        yield Finding("settling-not-shown", "warning", message, field)
        return
    stated = point.point.settled_after
    assert found.gap is not None  # noqa: S101  it follows from a series
    if stated is not None and not EXACT.subtract(found.time, found.gap) <= stated <= found.time:
        message = "the stated settling time is not that of the series, which is judged"
        field = pointer("set_points", point.index, "settled_after")
        yield Finding("settled-after-disagrees", "warning", message, field)
