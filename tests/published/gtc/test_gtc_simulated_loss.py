"""Budgets of simulated losses, recomputed with GTC from the measurement model.

Wet and dry, from masses and from the displayed loss alone, weights lifted off and swapped, hot zero
drift and correction; GTC finds every sensitivity by itself.
"""

from dataclasses import dataclass
from decimal import Decimal
from math import sqrt
from typing import Any

from GTC import ureal
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from weighworthy_service.checks.simulated_loss.check import Loading, SimulatedLossCheck
from weighworthy_service.checks.simulated_loss.evaluation import evaluate
from weighworthy_service.metrology.instrument import HotZeroCorrection

INITIAL = [("W10",), ("W10", "W5"), ("W5", "W2", "W1"), ("W20", "W2"), ("W50", "W20", "W10")]


@dataclass(frozen=True)
class Drawn:
    """A run; indications as offsets from the masses in mg, None for neither."""

    initial: tuple[str, ...]
    final: tuple[str, ...]
    offsets: tuple[int, int] | None
    displayed: str | None
    basis: str
    heating: bool | None
    temperatures: tuple[str, str] | None
    drift: str | None
    correction: tuple[str, str] | None
    step: str
    rounding: str


@st.composite
def losses(draw: st.DrawFn) -> Drawn:
    initial = draw(st.sampled_from(INITIAL))
    stays = draw(st.lists(st.sampled_from(initial), unique=True, max_size=len(initial)))
    swapped = draw(st.lists(st.sampled_from(["V20", "W2", "W1"]), unique=True, max_size=1))
    final = tuple(dict.fromkeys([*stays, *swapped])) or (initial[-1],)
    small = st.integers(-50, 50)
    offsets = draw(st.none() | st.tuples(small, small))
    displayed = None
    if offsets is None or draw(st.booleans()):
        displayed = str(Decimal(draw(st.integers(-2000, 9900))) / 100)
    correction = None
    if draw(st.booleans()):
        micrograms = st.integers(0, 3000).map(lambda n: str(Decimal(n).scaleb(-6)))
        correction = (str(Decimal(draw(st.integers(-3000, 3000))).scaleb(-6)), draw(micrograms))
    return Drawn(
        initial=initial,
        final=final,
        offsets=offsets,
        displayed=displayed,
        basis=draw(st.sampled_from(["wet", "dry"])),
        heating=draw(st.sampled_from([None, True, False])),
        temperatures=draw(st.sampled_from([None, ("25", "105"), ("25", "35"), ("25", "35.1")])),
        drift=draw(st.none() | st.integers(0, 5000).map(lambda n: str(Decimal(n).scaleb(-6)))),
        correction=correction,
        step=draw(st.sampled_from(["0.01", "0.001", "0.1"])),
        rounding=draw(st.sampled_from(["nearest", "down"])),
    )


def _known_cold(run: Drawn) -> bool:
    """Stated to be cold, and no chamber temperature says otherwise; 10 K more is not yet heat."""
    rose = run.temperatures is not None and (
        Decimal(run.temperatures[1]) - Decimal(run.temperatures[0]) > 10
    )
    return run.heating is False and not rose


def _loss(initial: Any, final: Any, basis: str) -> Any:
    return 100 * (initial - final) / (initial if basis == "wet" else final)


def _sum(names: tuple[str, ...], masses: Any) -> Any:
    return sum(masses[n] for n in names)


@settings(max_examples=400, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(data=st.data(), run=losses())
def test_budgets(gtc: Any, data: st.DataObject, run: Drawn) -> None:
    """The error of the loss in percentage points."""
    sitting = data.draw(gtc.sittings)
    model = gtc.model(sitting)
    reference = [sum(model.mass(n) for n in names) for names in (run.initial, run.final)]
    shown: list[Decimal | None] = [None, None]
    if run.offsets is not None:
        shown = [m + Decimal(o) / 1000 for m, o in zip(reference, run.offsets, strict=True)]
    before, after = run.temperatures or (None, None)
    balance = {"loss_interval": run.step, "loss_rounding": run.rounding}
    if run.drift is not None:
        balance["hot_zero_drift"] = run.drift
    if run.correction is not None:
        balance["hot_zero_correction"] = HotZeroCorrection(*map(Decimal, run.correction))
    check = SimulatedLossCheck(
        gtc.circumstances(sitting, **balance),
        Loading(run.initial, shown[0], before and Decimal(before)),
        Loading(run.final, shown[1], after and Decimal(after)),
        run.displayed and Decimal(run.displayed),
        run.basis,
        run.heating,
    )
    (criterion,) = evaluate(check, gtc.terms(sitting)).criteria

    def error(inputs: Any, masses: Any) -> Any:
        at = [float(m) for m in (reference if run.offsets is None else shown)]
        zero = inputs.zero("only", 0.0)
        first = inputs.loaded("initial", at[0], run.initial) - zero
        last = inputs.loaded("final", at[1], run.final) - zero
        if not _known_cold(run):
            if run.drift is not None and float(run.drift) > 0:
                last += ureal(0, float(run.drift) / sqrt(3))
            if run.correction is not None:
                shift, u = map(float, run.correction)
                unsure = ureal(0, u) if u > 0 else 0.0
                last -= unsure + (shift if run.offsets is not None else 0.0)
        found = _loss(first, last, run.basis)
        if run.offsets is None:
            found = found - _loss(at[0], at[1], run.basis) + _display(run)
            found += _correction_of_display(run, at)
        return found - _loss(_sum(run.initial, masses), _sum(run.final, masses), run.basis)

    names = {*run.initial, *run.final}
    expected = model.budget(["initial", "final"], error, names, adjusted=None)
    gtc.agrees(criterion, expected, scale=1e4)


def _display(run: Drawn) -> Any:
    """The displayed loss with its step: half of it either way, or a whole one if it cuts off."""
    half_width = float(run.step) * (1 if run.rounding == "down" else 0.5)
    return float(run.displayed) + ureal(0, half_width / sqrt(3))


def _correction_of_display(run: Drawn, at: list[float]) -> float:
    """A displayed loss is corrected to first order: the shift times the slope at the masses."""
    if run.correction is None or _known_cold(run):
        return 0.0
    slope = -100 / at[0] if run.basis == "wet" else -100 * at[0] / at[1] ** 2
    return -slope * float(run.correction[0])
