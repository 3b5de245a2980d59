"""JSON form of a simulated loss."""

from weighworthy_service.checks.request import CheckForm
from weighworthy_service.checks.simulated_loss.check import (
    Loading,
    SeriesPoint,
    SimulatedLossCheck,
)
from weighworthy_service.checks.simulated_loss.rehearsal import LossLoads
from weighworthy_service.wire.containers import ListOf, Part
from weighworthy_service.wire.fields import Flag, OneOf, Quantity
from weighworthy_service.wire.form import Form
from weighworthy_service.wire.request import load_field, said


class LoadingForm(Form):
    builds = Loading

    load = load_field(required=True)  # type: ignore[assignment]
    indication = Quantity("mass", metadata=said("Both indications or displayed_loss are needed."))
    chamber_temperature = Quantity("temperature")
    stable = Flag(metadata=said("Whether the balance showed the reading as stable."))


class SeriesPointForm(Form):
    builds = SeriesPoint

    at = Quantity("time", "not-negative", required=True, metadata=said("Time since the start."))
    indication = Quantity("mass", required=True)


class LossLoadsForm(Form):
    """The weights of a simulated loss at its start and at its end."""

    builds = LossLoads

    initial = load_field(required=True)
    final = load_field(required=True)
    basis = OneOf(("wet", "dry"), metadata={"default": "wet"})
    heating = Flag(metadata=said("Whether the chamber is heated."))


class SimulatedLossForm(CheckForm):
    builds = SimulatedLossCheck

    check = OneOf(("simulated-loss",), metadata=said("Optional; must agree with the address."))
    initial = Part(LoadingForm, required=True)
    final = Part(LoadingForm, required=True)
    displayed_loss = Quantity("share", metadata=said("The result that the analyser displayed."))
    basis = OneOf(
        ("wet", "dry"),
        metadata=said("Loss as a share of the initial or of the final load.", default="wet"),
    )
    heating = Flag(metadata=said("Whether the chamber was heated during the run."))
    series = ListOf(Part(SeriesPointForm), maximum=5000, metadata=said("For the plot; not judged."))
