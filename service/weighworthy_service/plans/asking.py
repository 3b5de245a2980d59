"""What plans have in common of what they are asked: a balance with weights, and a profile."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from decimal import Decimal
from typing import Any, Final

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.flaws import Flaw, refuse_if_any
from weighworthy_service.checks.registry import kind_named
from weighworthy_service.checks.rehearsal import Load, Loads
from weighworthy_service.metrology.instrument import Instrument
from weighworthy_service.metrology.loss import Basis
from weighworthy_service.plans.words import Assumed
from weighworthy_service.profiles.document import Profile
from weighworthy_service.profiles.reading import read_profile

SPAN: Final = kind_named("span")
LINEARITY: Final = kind_named("linearity")
LOSS: Final = kind_named("simulated-loss")
SPAN_ERROR, ZERO_RETURN = (criterion.name for criterion in SPAN.criteria[:2])
POINT_ERROR: Final = LINEARITY.criteria[0].name
LOSS_ERROR: Final = LOSS.criteria[0].name

# What plans are of; of all other kinds there are none.
PLANNED: Final = (SPAN, LINEARITY, LOSS)

COVERAGE: Final = Decimal("95.45")
_NEEDED: Final = (
    "a plan rests on how readings of one load scatter: state the standard deviation of ten or more "
    "placings, or of as few as there are with repeatability_observations"
)


def refuse_unplannable(
    circumstances: Circumstances,
    loads: Iterable[tuple[tuple[str | int, ...], Sequence[str]]] = (),
) -> None:
    """Raise `SenseError` for what is wrong, or lacks, of balance, weights and loads."""
    flaws = [*circumstances.flaws(loads), *lacking(circumstances.instrument)]
    if not circumstances.weights:
        flaws.append(Flaw(("weights",), "required", "which weights does the laboratory own?"))
    refuse_if_any(flaws)


def lacking(instrument: Instrument) -> Iterator[Flaw]:
    """What a plan cannot do without and must not guess."""
    if instrument.repeatability is None:
        yield Flaw(("instrument", "repeatability"), "required", _NEEDED)


def assumed_of(instrument: Instrument, *, hot: bool) -> Iterator[Assumed]:
    """What is taken of a balance that does not state it; `hot`: the run is, or may be."""
    if instrument.repeatability == 0:
        yield Assumed(
            "/instrument/repeatability",
            "0 g",
            "stated as nothing, and no balance is without scatter: every figure is a lower bound",
        )
    if instrument.repeatability_observations is None:
        yield Assumed(
            "/instrument/repeatability_observations",
            "infinitely many",
            "how many readings the repeatability rests on is not stated: it counts as known",
        )
    if hot and instrument.hot_zero_drift is None and instrument.hot_zero_correction is None:
        yield Assumed(
            "/instrument/hot_zero_drift",
            "0 g",
            "no change of zero through heat is stated, so none is counted: a blank run shows it",
        )


def loss_loads(initial: Load, final: Load, basis: Basis, *, heating: bool | None) -> Loads:
    """The loads of a simulated loss, as its rehearsal takes them."""
    rehearsal = LOSS.part("rehearsal")
    assert rehearsal is not None  # noqa: S101  every kind has one
    return rehearsal.LossLoads(initial, final, basis, heating)


def stated_profile(rules: Sequence[Mapping[str, Any]]) -> Profile:
    """A profile of these rules, for limits that stand in the request itself."""
    return read_profile({"id": "plan", "revision": "1", "rules": list(rules)})
