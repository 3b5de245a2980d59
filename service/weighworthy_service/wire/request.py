"""The JSON form of what every kind of check states besides its readings."""

from collections.abc import Iterator
from typing import Any, Final

from marshmallow import ValidationError

from weighworthy_service.metrology.buoyancy import Environment
from weighworthy_service.metrology.instrument import Eccentricity, HotZeroCorrection, Instrument
from weighworthy_service.wire.coded import Path, refused
from weighworthy_service.wire.containers import ListOf, MapOf, Part
from weighworthy_service.wire.fields import (
    Count,
    Date,
    Instant,
    OneOf,
    PureNumber,
    Quantity,
    Strict,
    Text,
    WeightClass,
)
from weighworthy_service.wire.form import Form

MAX_WEIGHTS: Final = 500
MAX_WEIGHTS_ON_PAN: Final = 20
MAX_LABELS: Final = 32
MAX_LABEL_LENGTH: Final = 1024
_PROFILE_NAME: Final = "[a-z0-9][a-z0-9-]{0,63}(@[A-Za-z0-9._-]{1,32})?"
_DIGEST: Final = "sha256:[0-9a-f]{64}"


def said(sentence: str, **more: Any) -> dict[str, Any]:
    """Field metadata that goes into the published schema."""
    return {"description": sentence, **more}


class OnPan(ListOf):
    """Weights that lie on the pan together, by their names in `weights`."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(Text(MapOf.NAME_LENGTH), minimum=1, maximum=MAX_WEIGHTS_ON_PAN, **kwargs)


def load_field(**kwargs: Any) -> OnPan:
    """The weights on the pan, by their names in `weights`."""
    kwargs.setdefault("metadata", said("Names of the weights on the pan."))
    return OnPan(**kwargs)


def several_loads(maximum: int) -> ListOf:
    """Loads, each of which is tried by itself."""
    return ListOf(load_field(), minimum=1, maximum=maximum)


def loads_in(field: Any, value: Any, path: Path = ()) -> Iterator[tuple[Path, tuple[str, ...]]]:
    """Every load in what a field, or a form, has read of a request, with its path."""
    if isinstance(field, OnPan):
        yield path, value
    elif isinstance(field, ListOf):
        for position, item in enumerate(value):
            yield from loads_in(field.inner, item, (*path, position))
    elif isinstance(field, Part | Form):
        form = field.schema if isinstance(field, Part) else field
        for name, member in form.load_fields.items():
            key = member.attribute or name
            stated = value.get(key) if isinstance(value, dict) else getattr(value, key, None)
            if stated is not None:
                yield from loads_in(member, stated, (*path, member.data_key or name))


class EccentricityForm(Form):
    builds = Eccentricity

    difference = Quantity(
        "mass", "not-negative", required=True, metadata=said("Largest difference to the centre.")
    )
    load = Quantity("mass", "positive", required=True, metadata=said("Load it was tried with."))  # type: ignore[assignment]


class HotZeroCorrectionForm(Form):
    builds = HotZeroCorrection

    value = Quantity(
        "mass", required=True, metadata=said("Shift of the zero through a run, from blank runs.")
    )
    standard_uncertainty = Quantity("mass", "not-negative", required=True)


class InstrumentForm(Form):
    builds = Instrument

    id = Text()
    model = Text()
    site = Text()
    capacity = Quantity("mass", "positive")
    scale_interval = Quantity(
        "mass", "positive", required=True, metadata=said("d, the step of the indication.")
    )
    verification_interval = Quantity("mass", "positive", metadata=said("e, of OIML R 76-1."))
    loss_interval = Quantity(
        "share", "positive", metadata=said("Step in which the loss is displayed.")
    )
    loss_rounding = OneOf(("nearest", "down"), metadata={"default": "nearest"})
    repeatability = Quantity(
        "mass", "not-negative", metadata=said("Standard deviation of a net indication.")
    )
    repeatability_observations = Count(
        2, 10_000, metadata=said("Observations behind it; absent: it counts as exactly known.")
    )
    eccentricity = Part(EccentricityForm)
    hot_zero_drift = Quantity(
        "mass", "not-negative", metadata=said("Bound on the change of zero through a run.")
    )
    hot_zero_correction = Part(HotZeroCorrectionForm)


class WeightForm(Form):
    """Loads to a dict: the name of the weight is the key above it."""

    nominal = Quantity("mass", "positive", required=True)
    weight_class = WeightClass(metadata=said("OIML R 111-1 or ASTM E617."))
    conventional_mass = Quantity("mass", "positive", metadata=said("From the certificate."))
    expanded_uncertainty = Quantity("mass", "positive", metadata=said("From the certificate."))
    coverage_factor = PureNumber(
        positive=True, metadata=said("Of that uncertainty; absent: 2.", examples=["2"])
    )
    density = Quantity("density", "positive", bounds=(500, 25_000))
    drift = Quantity(
        "mass", "not-negative", metadata=said("Largest change seen between calibrations.")
    )
    certificate = Text()
    calibrated_on = Date()
    due_on = Date()


class EnvironmentForm(Form):
    builds = Environment

    temperature = Quantity("temperature", bounds=(0, 50))
    relative_humidity = Quantity("share", "not-negative", bounds=(0, 100))
    pressure = Quantity("pressure", "positive", bounds=(500, 1200))


class ProfileReference(Strict[Any]):
    """A name that the service knows, or a whole profile, whose content is read elsewhere."""

    wanted = 'a profile, or the name of one like "id" or "id@revision",'

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._name = Text(97, pattern=_PROFILE_NAME)

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> Any:
        if isinstance(value, dict):
            return value
        if not isinstance(value, str):
            raise self.make_error("invalid")
        try:
            return self._name.read(value)
        except ValidationError:
            raise refused("malformed-text", f"{self.wanted} is needed") from None

    def keywords(self) -> dict[str, Any]:
        """Of the name; the schema of a profile stands beside it in the document."""
        return self._name.keywords()


def weights_field(*, required: bool) -> MapOf:
    """The laboratory's weights."""
    return MapOf(
        Part(WeightForm),
        maximum=MAX_WEIGHTS,
        required=required,
        metadata=said("The laboratory's weights by their own names."),
    )


class CommonForm(Form):
    """Fields of every check request, in the order of the documentation."""

    profile = ProfileReference(
        metadata=said("Tolerance profile; absent: the built-in general one.")
    )
    expect_profile_digest = Text(
        71, pattern=_DIGEST, metadata=said("Refuse to judge by a profile of another content.")
    )
    instrument = Part(InstrumentForm, required=True)
    weights = weights_field(required=True)
    environment = Part(EnvironmentForm)
    method = Text()
    warm_up = Quantity("time", "not-negative", metadata=said("Time switched on before the check."))
    performed_at = Instant()
    performed_by = Text()
    labels = MapOf(
        Text(MAX_LABEL_LENGTH, minimum=0),
        maximum=MAX_LABELS,
        metadata=said("Handed back untouched; no influence on verdict or digest; never logged."),
    )
