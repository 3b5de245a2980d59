"""What the uncertainty budget rests on, or lacks: findings on the inputs, not on the result."""

from collections.abc import Iterable, Iterator

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.outcome import Finding
from weighworthy_service.json_document import pointer
from weighworthy_service.metrology.buoyancy import ASSUMED_WEIGHT_DENSITY
from weighworthy_service.metrology.weights import ReferenceWeight


def input_remarks(
    circumstances: Circumstances, used: Iterable[str], *, built_up: bool, buoyancy: bool
) -> Iterator[Finding]:
    """Findings on repeatability, eccentricity (if a load is built up), weights, buoyancy."""
    instrument = circumstances.instrument
    field = "/instrument/repeatability"
    if instrument.repeatability is None:
        message = "no repeatability is stated and none is guessed: the uncertainty is a lower bound"
        yield Finding("repeatability-not-stated", "warning", message, field)
    elif instrument.repeatability == 0:
        message = "a repeatability of zero leaves the uncertainty a lower bound"
        yield Finding("repeatability-zero", "warning", message, field)
    if built_up and instrument.eccentricity is None:
        message = "loads of several weights lie off the centre; no eccentricity is stated for them"
        yield Finding("eccentricity-not-stated", "note", message, "/instrument/eccentricity")
    for name in used:
        yield from _weight_remarks(circumstances.weights[name], buoyancy=buoyancy)


def _weight_remarks(weight: ReferenceWeight, *, buoyancy: bool) -> Iterator[Finding]:
    name = weight.name
    if weight.certified and weight.drift is None:
        message = f"{name}: no drift since its certificate is stated, and none is included"
        field = pointer("weights", name, "drift")
        yield Finding("weight-drift-not-included", "note", message, field)
    if weight.certified and weight.coverage_factor is None:
        message = f"{name}: the certificate's coverage factor is taken as 2"
        field = pointer("weights", name, "coverage_factor")
        yield Finding("coverage-factor-assumed", "note", message, field)
    if buoyancy and weight.weight_class is None and weight.density is None:
        message = f"{name}: a density of {ASSUMED_WEIGHT_DENSITY:.0f} kg/m³ (steel) is assumed"
        field = pointer("weights", name, "density")
        yield Finding("buoyancy-assumed-density", "note", message, field)
