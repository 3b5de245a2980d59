"""The kinds of check: the one place where a new kind is entered."""

from typing import Any, Final

from weighworthy_service.checks.blank_run import evaluation as blank_run
from weighworthy_service.checks.blank_run import rehearsal as blank_run_rehearsal
from weighworthy_service.checks.blank_run.schema import BlankRunForm, UsualSampleForm
from weighworthy_service.checks.eccentricity import evaluation as eccentricity
from weighworthy_service.checks.eccentricity import rehearsal as eccentricity_rehearsal
from weighworthy_service.checks.eccentricity.schema import EccentricityForm
from weighworthy_service.checks.heater import evaluation as heater
from weighworthy_service.checks.heater import rehearsal as heater_rehearsal
from weighworthy_service.checks.heater.schema import HeaterForm
from weighworthy_service.checks.kind import Kind
from weighworthy_service.checks.linearity import evaluation as linearity
from weighworthy_service.checks.linearity import rehearsal as linearity_rehearsal
from weighworthy_service.checks.linearity.schema import LinearityForm
from weighworthy_service.checks.reference_material import evaluation as reference_material
from weighworthy_service.checks.reference_material import rehearsal as material_rehearsal
from weighworthy_service.checks.reference_material.schema import (
    ReferenceMaterialForm,
    UsualMaterialForm,
)
from weighworthy_service.checks.repeatability import evaluation as repeatability
from weighworthy_service.checks.repeatability import rehearsal as repeatability_rehearsal
from weighworthy_service.checks.repeatability.schema import RepeatabilityForm
from weighworthy_service.checks.simulated_loss import evaluation as simulated_loss
from weighworthy_service.checks.simulated_loss import rehearsal as simulated_loss_rehearsal
from weighworthy_service.checks.simulated_loss.preparation import PREPARATION
from weighworthy_service.checks.simulated_loss.schema import LossLoadsForm, SimulatedLossForm
from weighworthy_service.checks.span import evaluation as span
from weighworthy_service.checks.span import rehearsal as span_rehearsal
from weighworthy_service.checks.span.schema import SpanForm
from weighworthy_service.wire.coded import nearest
from weighworthy_service.wire.containers import Part
from weighworthy_service.wire.request import several_loads

_HERE: Final = __name__.rpartition(".")[0]

KINDS: Final = (
    Kind(
        "span",
        "Span",
        f"{_HERE}.span",
        SpanForm(),
        span.evaluate,
        span.CRITERIA,
        span_rehearsal.rehearse,
        loads=several_loads(10),
        settings=("validity.rounds",),
        staged=True,
    ),
    Kind(
        "linearity",
        "Linearity",
        f"{_HERE}.linearity",
        LinearityForm(),
        linearity.evaluate,
        linearity.CRITERIA,
        linearity_rehearsal.rehearse,
        loads=several_loads(20),
        settings=("validity.points",),
    ),
    Kind(
        "simulated-loss",
        "Simulated loss",
        f"{_HERE}.simulated_loss",
        SimulatedLossForm(),
        simulated_loss.evaluate,
        simulated_loss.CRITERIA,
        simulated_loss_rehearsal.rehearse,
        PREPARATION,
        loads=Part(LossLoadsForm),
        settings=("start_window", "validity.scatter_at_most"),
    ),
    Kind(
        "repeatability",
        "Repeatability",
        f"{_HERE}.repeatability",
        RepeatabilityForm(),
        repeatability.evaluate,
        repeatability.CRITERIA,
        repeatability_rehearsal.rehearse,
        loads=several_loads(10),
        settings=("validity.placings",),
    ),
    Kind(
        "eccentricity",
        "Eccentricity",
        f"{_HERE}.eccentricity",
        EccentricityForm(),
        eccentricity.evaluate,
        eccentricity.CRITERIA,
        eccentricity_rehearsal.rehearse,
        loads=several_loads(10),
        settings=("validity.placings",),
    ),
    Kind(
        "blank-run",
        "Blank run",
        f"{_HERE}.blank_run",
        BlankRunForm(),
        blank_run.evaluate,
        blank_run.CRITERIA,
        blank_run_rehearsal.rehearse,
        loads=Part(UsualSampleForm),
        settings=("validity.runs",),
    ),
    Kind(
        "heater",
        "Heater",
        f"{_HERE}.heater",
        HeaterForm(),
        heater.evaluate,
        heater.CRITERIA,
        heater_rehearsal.rehearse,
        settings=("validity.set_points",),
    ),
    Kind(
        "reference-material",
        "Reference material",
        f"{_HERE}.reference_material",
        ReferenceMaterialForm(),
        reference_material.evaluate,
        reference_material.CRITERIA,
        material_rehearsal.rehearse,
        loads=Part(UsualMaterialForm),
        settings=("validity.runs",),
    ),
)

# By the name that requests, profiles and addresses use.
BY_SLUG: Final = {kind.slug: kind for kind in KINDS}


class NoSuchKind(ValueError):  # noqa: N818  the sender's fault, not one of the program
    """A name that no kind has; says which there are, and which may have been meant."""


def kind_named(slug: Any) -> Kind:
    """The kind of check of that name, whatever stands there.

    Raises:
        NoSuchKind: there is none.
    """
    kind = BY_SLUG.get(slug) if isinstance(slug, str) else None
    if kind is None:
        hint = nearest(slug, tuple(BY_SLUG)) if isinstance(slug, str) else ""
        raise NoSuchKind(f"must be one of: {', '.join(BY_SLUG)}{hint}")
    return kind
