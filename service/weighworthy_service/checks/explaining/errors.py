"""Budgets of errors of indication and of their sums: sensitivities first, as inputs may cancel."""

from collections.abc import Sequence
from dataclasses import dataclass

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


def error_inputs(
    inputs: Inputs, shares: Sequence[Share], correlation: str, *, adjusted: bool
) -> list[Input]:
    """The whole budget of a sum of errors, in the order of the answer."""
    zeros: dict[str, list[Formula]] = {}
    for share in shares:
        zeros.setdefault(share.zero, []).append(share.sensitivity)
    of_loads = root([share.sensitivity for share in shares])
    weights = net_weights(shares)
    built_up = [
        share.sensitivity * inputs.nominal(share.load) for share in shares if len(share.load) > 1
    ]
    return [
        *digitisation(inputs, "loaded readings", of_loads),
        *digitisation(inputs, "zero readings", root([_net(parts) for parts in zeros.values()])),
        *scatter(inputs, of_loads),
        *weight_inputs(inputs, weights, correlation, "g"),
        *off_centre(inputs, root(built_up)),
        *buoyancy_inputs(inputs, weights, adjusted=adjusted),
    ]


def one_error(zero: str, load: tuple[str, ...]) -> list[Share]:
    """An error by itself."""
    return [Share(formula(1), zero, load)]


def net_weights(shares: Sequence[Share]) -> dict[str, Formula]:
    """What each weight does to a sum of errors, by name."""
    weights: dict[str, list[Formula]] = {}
    for share in shares:
        for name in share.load:
            weights.setdefault(name, []).append(share.sensitivity)
    return {name: _net(parts) for name, parts in weights.items()}


def _net(parts: Sequence[Formula]) -> Formula:
    """What a zero or a weight does to the sum: the opposite of all readings that it stands in."""
    return -total([times(n, c) for c, n in alike(parts)])
