"""Builders: numbers are written as texts, as they stand in a request, and become Decimals here."""

import re
from collections.abc import Iterable
from decimal import Decimal
from types import SimpleNamespace
from typing import Any

import pytest

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.linearity.check import LinearityCheck, Point
from weighworthy_service.checks.outcome import Criterion, Evaluation
from weighworthy_service.checks.simulated_loss.check import Loading, SimulatedLossCheck
from weighworthy_service.checks.span.check import Round, SpanCheck
from weighworthy_service.checks.terms import Decision, LimitInForce, ProfileIdentity, Terms
from weighworthy_service.metrology.instrument import Instrument
from weighworthy_service.metrology.limits import Band, Limit, read_amount
from weighworthy_service.metrology.weights import ReferenceWeight


def _exact(values: dict[str, Any]) -> dict[str, Any]:
    return {
        name: Decimal(v) if isinstance(v, str) and re.fullmatch(r"-?[0-9.]+", v) else v
        for name, v in values.items()
    }


def weight(name: str, nominal: str, weight_class: str | None = "OIML F1", **more: Any):
    return ReferenceWeight(name, Decimal(nominal), weight_class, **_exact(more))


def certified(name: str, nominal: str, mass: str, expanded: str, **more: Any):
    """A weight at its certificate value, without a class unless `weight_class` says so."""
    more = {"weight_class": None, "coverage_factor": "2", **more}
    return ReferenceWeight(
        name,
        Decimal(nominal),
        conventional_mass=Decimal(mass),
        expanded_uncertainty=Decimal(expanded),
        **_exact(more),
    )


def balance(scale_interval: str = "0.001", **more: Any) -> Instrument:
    return Instrument(Decimal(scale_interval), **_exact(more))


def circumstances(
    weights: Iterable[ReferenceWeight], instrument: Instrument | None = None, **more: Any
) -> Circumstances:
    return Circumstances(instrument or balance(), {w.name: w for w in weights}, **_exact(more))


def round_(load: str, zero: str, indication: str, zero_after: str | None = None, **more: Any):
    """A judged round; `load` names the weights, parted by blanks."""
    readings = {"zero": zero, "indication": indication, "zero_after": zero_after}
    return Round(load=tuple(load.split()), **_exact(readings), **more)


def point(load: str, indication: str, zero: str | None = None, direction: str | None = None):
    return Point(
        load=tuple(load.split()),
        indication=Decimal(indication),
        zero=None if zero is None else Decimal(zero),
        direction=direction,
    )


def loading(load: str, indication: str | None = None, chamber: str | None = None, **more: Any):
    readings = {"indication": indication, "chamber_temperature": chamber}
    return Loading(tuple(load.split()), **_exact(readings), **more)


def limit(form: str | dict[str, Any], **more: Any) -> Limit:
    """`"2 mg"` is `within`; a dict names lower, upper, or bands as {"20 g": form}."""
    if isinstance(form, str):
        return Limit(within=read_amount(form), **more)
    if "bands" in form:
        bands = tuple(Band(read_amount(end), limit(of)) for end, of in form["bands"].items())
        return Limit(bands=bands, **more)
    return Limit(**{side: read_amount(amount) for side, amount in form.items()}, **more)


def terms(limits: dict[str, Any] | None = None, /, **more: Any) -> Terms:
    in_force = {
        name: LimitInForce(
            form if isinstance(form, Limit) else limit(form), f"kestrel-mill@2026-03 /rules/{i}"
        )
        for i, (name, form) in enumerate((limits or {}).items())
    }
    identity = ProfileIdentity("kestrel-mill", "2026-03", "sha256:0")
    return Terms(identity, limits=in_force, **more)


def decision(rule: str = "simple", **more: Any) -> Decision:
    return Decision(rule=rule, **_exact(more))


def loss(
    initial: Loading, final: Loading, weights: Iterable[ReferenceWeight], **more: Any
) -> SimulatedLossCheck:
    own = {"displayed_loss", "basis", "heating", "series"}
    rest = {name: value for name, value in more.items() if name not in own}
    mine = {name: value for name, value in more.items() if name in own}
    return SimulatedLossCheck(circumstances(weights, **rest), initial, final, **_exact(mine))


def span(rounds: Iterable[Round], weights: Iterable[ReferenceWeight], **more: Any) -> SpanCheck:
    return SpanCheck(circumstances(weights, **more), tuple(rounds))


def linearity(
    points: Iterable[Point], weights: Iterable[ReferenceWeight], **more: Any
) -> LinearityCheck:
    return LinearityCheck(circumstances(weights, **more), tuple(points))


def criterion(evaluation: Evaluation, key: str) -> Criterion:
    return next(c for c in evaluation.criteria if c.key == key)


def findings(evaluation: Evaluation, code: str) -> list[tuple[str, str | None]]:
    """(severity, field) of every finding of one code."""
    return [(f.severity, f.field) for f in evaluation.findings if f.code == code]


def row(of: Criterion, source: str):
    """The one row of a budget whose source begins so."""
    (found,) = (r for r in of.budget if r.source.startswith(source))
    return found


@pytest.fixture(scope="session")
def make() -> SimpleNamespace:
    """The builders above, and readers of an evaluation."""
    return SimpleNamespace(
        weight=weight,
        certified=certified,
        balance=balance,
        circumstances=circumstances,
        round=round_,
        adjustment=Round(stage="adjustment"),
        point=point,
        loading=loading,
        limit=limit,
        terms=terms,
        decision=decision,
        loss=loss,
        span=span,
        linearity=linearity,
        criterion=criterion,
        findings=findings,
        row=row,
    )
