"""Budgets of errors of indication and of their sums: sensitivities first, as inputs may cancel."""

from collections.abc import Sequence
from dataclasses import dataclass, field

from weighworthy_service.checks.explaining.budget import (
    Input,
    alike,
    digitisation,
    off_centre,
    root,
    scatter,
    times,
)
from weighworthy_service.checks.explaining.formula import Formula, formula
from weighworthy_service.checks.explaining.functions import total
from weighworthy_service.checks.explaining.inputs import Inputs
from weighworthy_service.checks.explaining.weights import buoyancy_inputs, weight_inputs


@dataclass(frozen=True, slots=True)
class Share:
    """An error E = (I - Z) - Σm in a sum of errors: with which sensitivity, against which zero."""

    sensitivity: Formula
    zero: str
    load: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Acting:
    zeros: dict[str, list[Formula]] = field(default_factory=dict)
    weights: dict[str, list[Formula]] = field(default_factory=dict)


def error_inputs(
    inputs: Inputs, shares: Sequence[Share], correlation: str, *, adjusted: bool
) -> list[Input]:
    """The whole budget of a sum of errors, in the order of the answer."""
    acting = _Acting()
    for share in shares:
        acting.zeros.setdefault(share.zero, []).append(share.sensitivity)
        for name in share.load:
            acting.weights.setdefault(name, []).append(share.sensitivity)
    of_loads = root([share.sensitivity for share in shares])
    weights = {name: _net(parts) for name, parts in acting.weights.items()}
    built_up = [
        share.sensitivity * inputs.nominal(share.load) for share in shares if len(share.load) > 1
    ]
    return [
        *digitisation(inputs, "loaded readings", of_loads),
        *digitisation(
            inputs, "zero readings", root([_net(parts) for parts in acting.zeros.values()])
        ),
        *scatter(inputs, of_loads),
        *weight_inputs(inputs, weights, correlation, "g"),
        *off_centre(inputs, root(built_up)),
        *buoyancy_inputs(inputs, weights, adjusted=adjusted),
    ]


def one_error(zero: str, load: tuple[str, ...]) -> list[Share]:
    """An error by itself."""
    return [Share(formula(1), zero, load)]


def _net(parts: Sequence[Formula]) -> Formula:
    """What a zero or a weight does to the sum: the opposite of all readings that it stands in."""
    return -total([times(n, c) for c, n in alike(parts)])
