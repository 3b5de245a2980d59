"""One method for each kind of check, whose parameters are the fields of its request."""

from abc import ABC, abstractmethod
from collections.abc import Mapping, Sequence
from typing import Any, Literal, TypeAlias

from weighworthy.inputs import (
    EarlierSpread,
    Environment,
    Instant,
    Instrument,
    Loading,
    Material,
    MaterialRun,
    Occasion,
    PanRun,
    PlacedAt,
    Placing,
    Point,
    Probe,
    Profile,
    Quantity,
    Round,
    SeriesPoint,
    SetPoint,
    Weight,
)
from weighworthy.results import Answer

Detail: TypeAlias = Literal["full", "short"]

_OPTIONS_OF_A_CALL = ("self", "request_id", "detail", "explain")


class Checks(ABC):
    """What a client offers for each kind. A kind is one method here."""

    @abstractmethod
    def evaluate(
        self,
        kind: str,
        request: Mapping[str, Any],
        *,
        request_id: str | None = None,
        detail: Detail = "full",
        explain: bool = False,
    ) -> Answer:
        """Judge a request document of any kind."""

    def check_span(
        self,
        *,
        rounds: Sequence[Round],
        weights: Mapping[str, Weight] | None = None,
        instrument: Instrument | str | None = None,
        profile: Profile | None = None,
        expect_profile_digest: str | None = None,
        environment: Environment | None = None,
        method: str | None = None,
        warm_up: Quantity | None = None,
        performed_at: Instant | None = None,
        performed_by: str | None = None,
        occasion: Occasion | None = None,
        labels: Mapping[str, str] | None = None,
        request_id: str | None = None,
        detail: Detail = "full",
        explain: bool = False,
    ) -> Answer:
        """Judge zero, load and zero again, in one or several rounds. Raises as `evaluate`."""
        return self._judge("span", locals())

    def check_linearity(
        self,
        *,
        points: Sequence[Point],
        weights: Mapping[str, Weight] | None = None,
        instrument: Instrument | str | None = None,
        profile: Profile | None = None,
        expect_profile_digest: str | None = None,
        environment: Environment | None = None,
        method: str | None = None,
        warm_up: Quantity | None = None,
        performed_at: Instant | None = None,
        performed_by: str | None = None,
        occasion: Occasion | None = None,
        labels: Mapping[str, str] | None = None,
        request_id: str | None = None,
        detail: Detail = "full",
        explain: bool = False,
    ) -> Answer:
        """Judge reference loads over the range used. Raises as `evaluate`."""
        return self._judge("linearity", locals())

    def check_simulated_loss(
        self,
        *,
        initial: Loading,
        final: Loading,
        displayed_loss: Quantity | None = None,
        basis: Literal["wet", "dry"] | None = None,
        heating: bool | None = None,
        series: Sequence[SeriesPoint] | None = None,
        weights: Mapping[str, Weight] | None = None,
        instrument: Instrument | str | None = None,
        profile: Profile | None = None,
        expect_profile_digest: str | None = None,
        environment: Environment | None = None,
        method: str | None = None,
        warm_up: Quantity | None = None,
        performed_at: Instant | None = None,
        performed_by: str | None = None,
        occasion: Occasion | None = None,
        labels: Mapping[str, str] | None = None,
        request_id: str | None = None,
        detail: Detail = "full",
        explain: bool = False,
    ) -> Answer:
        """Judge the loss shown when a known part of a known load is lifted off.

        Raises as `evaluate`.
        """
        return self._judge("simulated-loss", locals())

    def check_repeatability(
        self,
        *,
        load: Sequence[str],
        placings: Sequence[Placing],
        weights: Mapping[str, Weight] | None = None,
        instrument: Instrument | str | None = None,
        profile: Profile | None = None,
        expect_profile_digest: str | None = None,
        environment: Environment | None = None,
        method: str | None = None,
        warm_up: Quantity | None = None,
        performed_at: Instant | None = None,
        performed_by: str | None = None,
        occasion: Occasion | None = None,
        labels: Mapping[str, str] | None = None,
        request_id: str | None = None,
        detail: Detail = "full",
        explain: bool = False,
    ) -> Answer:
        """Judge how much one load scatters that is put on again and again. Raises as `evaluate`."""
        return self._judge("repeatability", locals())

    def check_eccentricity(
        self,
        *,
        load: Sequence[str],
        placings: Sequence[PlacedAt],
        weights: Mapping[str, Weight] | None = None,
        instrument: Instrument | str | None = None,
        profile: Profile | None = None,
        expect_profile_digest: str | None = None,
        environment: Environment | None = None,
        method: str | None = None,
        warm_up: Quantity | None = None,
        performed_at: Instant | None = None,
        performed_by: str | None = None,
        occasion: Occasion | None = None,
        labels: Mapping[str, str] | None = None,
        request_id: str | None = None,
        detail: Detail = "full",
        explain: bool = False,
    ) -> Answer:
        """Judge what it does to put one load off the centre of the pan. Raises as `evaluate`."""
        return self._judge("eccentricity", locals())

    def check_blank_run(
        self,
        *,
        runs: Sequence[PanRun],
        sample_mass: Quantity,
        pan: Literal["empty", "inert"] | None = None,
        on_pan: str | None = None,
        usual_duration: Quantity | None = None,
        weights: Mapping[str, Weight] | None = None,
        instrument: Instrument | str | None = None,
        profile: Profile | None = None,
        expect_profile_digest: str | None = None,
        environment: Environment | None = None,
        method: str | None = None,
        warm_up: Quantity | None = None,
        performed_at: Instant | None = None,
        performed_by: str | None = None,
        occasion: Occasion | None = None,
        labels: Mapping[str, str] | None = None,
        request_id: str | None = None,
        detail: Detail = "full",
        explain: bool = False,
    ) -> Answer:
        """Judge what a hot run does to the indication of a pan that loses nothing.

        Raises as `evaluate`.
        """
        return self._judge("blank-run", locals())

    def check_heater(
        self,
        *,
        probe: Probe,
        set_points: Sequence[SetPoint],
        settled_within: Quantity | None = None,
        time_step: Quantity | None = None,
        display_interval: Quantity | None = None,
        place: str | None = None,
        weights: Mapping[str, Weight] | None = None,
        instrument: Instrument | str | None = None,
        profile: Profile | None = None,
        expect_profile_digest: str | None = None,
        environment: Environment | None = None,
        method: str | None = None,
        warm_up: Quantity | None = None,
        performed_at: Instant | None = None,
        performed_by: str | None = None,
        occasion: Occasion | None = None,
        labels: Mapping[str, str] | None = None,
        request_id: str | None = None,
        detail: Detail = "full",
        explain: bool = False,
    ) -> Answer:
        """Judge a certified probe against set temperatures. Raises as `evaluate`."""
        return self._judge("heater", locals())

    def check_reference_material(
        self,
        *,
        material: Material,
        runs: Sequence[MaterialRun],
        basis: Literal["wet", "dry"] | None = None,
        spread: EarlierSpread | None = None,
        weights: Mapping[str, Weight] | None = None,
        instrument: Instrument | str | None = None,
        profile: Profile | None = None,
        expect_profile_digest: str | None = None,
        environment: Environment | None = None,
        method: str | None = None,
        warm_up: Quantity | None = None,
        performed_at: Instant | None = None,
        performed_by: str | None = None,
        occasion: Occasion | None = None,
        labels: Mapping[str, str] | None = None,
        request_id: str | None = None,
        detail: Detail = "full",
        explain: bool = False,
    ) -> Answer:
        """Judge losses found of a substance against the loss that is stated of it.

        Raises as `evaluate`.
        """
        return self._judge("reference-material", locals())

    def _judge(self, kind: str, arguments: dict[str, Any]) -> Answer:
        # locals() of the method: its parameters are the fields, so none is named twice.
        fields = {k: v for k, v in arguments.items() if k not in _OPTIONS_OF_A_CALL}
        asked = {name: arguments[name] for name in ("request_id", "detail", "explain")}
        return self.evaluate(kind, fields, **asked)
