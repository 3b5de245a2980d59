"""JSON form of a check with a reference material."""

from weighworthy_service.checks.reference_material.check import (
    EarlierSpread,
    Material,
    MaterialRun,
    ReferenceMaterialCheck,
)
from weighworthy_service.checks.reference_material.rehearsal import UsualMaterial
from weighworthy_service.checks.request import WeightlessForm
from weighworthy_service.wire.containers import ListOf, Part
from weighworthy_service.wire.fields import Count, Date, Flag, OneOf, PureNumber, Quantity, Text
from weighworthy_service.wire.form import Form
from weighworthy_service.wire.request import said


class MaterialForm(Form):
    builds = Material

    name = Text()
    lot = Text()
    stated_loss = Quantity(
        "share", "positive", required=True, metadata=said("Of the lot, by its certificate.")
    )
    expanded_uncertainty = Quantity(
        "share", "positive", metadata=said("Of the stated loss; or state the standard one.")
    )
    coverage_factor = PureNumber(
        positive=True, metadata=said("Of the expanded one; absent: 2.", examples=["2"])
    )
    standard_uncertainty = Quantity("share", "positive")
    certificate = Text()
    opened_on = Date()
    due_on = Date(metadata=said("The last day on which it may be used."))


class MaterialRunForm(Form):
    builds = MaterialRun

    initial_mass = Quantity("mass", "positive", metadata=said("Net, before drying."))
    final_mass = Quantity("mass", "not-negative", metadata=said("Net, after drying."))
    displayed_loss = Quantity(
        "share",
        metadata=said("That the analyser displayed, where the masses are not known."),
    )
    stable = Flag(metadata=said("Whether the balance showed both masses as stable."))


class EarlierSpreadForm(Form):
    builds = EarlierSpread

    standard_deviation = Quantity(
        "share", "positive", required=True, metadata=said("Of single losses.")
    )
    observations = Count(2, 10_000, required=True, metadata=said("How many it rests on."))


class UsualMaterialForm(Form):
    """A run of the material as it usually is."""

    builds = UsualMaterial

    initial_mass = Quantity("mass", "positive", required=True)
    stated_loss = Quantity("share", "positive", required=True)
    standard_uncertainty = Quantity("share", "positive")
    number_of_runs = Count(1, 100, metadata=said("How many runs a check has.", default=3))


class ReferenceMaterialForm(WeightlessForm):
    builds = ReferenceMaterialCheck

    check = OneOf(("reference-material",), metadata=said("Optional; must agree with the address."))
    material = Part(MaterialForm, required=True)
    runs = ListOf(Part(MaterialRunForm), minimum=1, maximum=100, required=True)
    basis = OneOf(
        ("wet", "dry"),
        metadata=said("Loss as a share of the initial or of the final mass.", default="wet"),
    )
    spread = Part(EarlierSpreadForm, metadata=said("From earlier runs of such a material."))
