"""What a failed linearity check means for a loss.

**Curve.** The errors of the points, their mean at each load, and 0 at zero, joined by straight
lines over the indication: e(I). A straight piece of error over mass is one over indication too, so
this inverts exactly: m = I - e(I), and

    shift = L - 100(m0 - m1)/m0 = 100·[(I1 - e1)/(I0 - e0) - I1/I0].

A constant gain (errors in proportion to the load) gives 0. Its uncertainty: the points' U joined in
the same way, with |∂/∂e0| = 100(I1 - e1)/(I0 - e0)², |∂/∂e1| = 100/(I0 - e0), added linearly, for
the points share weights. Above the highest load the curve says nothing.

**No initial mass**: the worst within the loads checked. Between nodes e is a + b·I, and the shift a
quotient of two such of 1/I0, so monotone: the largest stands where I0 or I1 is a node.

**Hysteresis** h, down minus up: the final reading is taken on the way down, -100 h/I0 (our own
reading of it).
"""

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from fractions import Fraction
from typing import Any, Final, NamedTuple

from weighworthy_service.checks.faults import NO_LOSS, Effect, Fault, Said, key_of, of_zero
from weighworthy_service.checks.figures import figure, rows

_CURVE: Final = (
    "The errors of the points, joined by straight lines, at both readings of the result."
)
_WORST: Final = (
    "The result states no initial mass: the largest shift at any initial mass within the loads "
    "checked."
)
_HYSTERESIS: Final = (
    "The final reading is taken on the way down, with this more than on the way up."
)
_NO_POINTS: Final = Effect(None, remark="The answer of the check does not tell its points.")
_BEYOND: Final = Effect(None, remark="The result was weighed above the highest load of the check.")
_BELOW: Final = Effect(None, remark="Of a loss above 100 % the curve says nothing.")


class Node(NamedTuple):
    """A load of the curve: indication, error, and U of the error, in g."""

    indication: Fraction
    error: Fraction
    expanded: Fraction | None


def faults(failed: Iterable[Said], results: Said) -> tuple[Fault, ...]:
    """The curve, whichever of its criteria failed, and the hysteresis if that did."""
    found: dict[str, Fault] = {}
    nodes = tuple(_nodes(results))
    for criterion in failed:
        if criterion.get("name") == "hysteresis":
            load = figure(criterion, "load")
            found["hysteresis"] = of_zero("hysteresis", criterion, _HYSTERESIS, load)
        elif "curve" not in found:
            found["curve"] = _curve(nodes, key_of(criterion))
    return tuple(found.values())


def _nodes(results: Mapping[str, Any]) -> Iterator[Node]:
    """Zero and the mean of each load, by ascending indication."""
    by_load = defaultdict(list)
    for row in rows(results, "points"):
        mass, error = figure(row, "mass"), figure(row, "error")
        if mass is not None and error is not None and mass > 0 and mass + error > 0:
            by_load[figure(row, "load")].append((mass, error, figure(row, "expanded_uncertainty")))
    found = [Node(Fraction(0), Fraction(0), Fraction(0))]
    for points in by_load.values():
        mass = sum((p[0] for p in points), Fraction(0)) / len(points)
        error = sum((p[1] for p in points), Fraction(0)) / len(points)
        # A mean of points is at least as well known as the worst of them.
        known = [u for _, _, u in points if u is not None]
        expanded = max(known) if len(known) == len(points) else None
        found.append(Node(mass + error, error, expanded))
    return iter(sorted(found, key=lambda node: node.indication))


def _curve(nodes: Sequence[Node], key: str) -> Fault:
    def effect(loss: Fraction | None, mass: Fraction | None) -> Effect:
        if len(nodes) < 2:
            return _NO_POINTS
        if loss is None:
            return NO_LOSS
        if loss > 100:
            return _BELOW
        if mass is not None:
            return _at(nodes, loss, mass)
        highest = nodes[-1].indication / max(Fraction(1), 1 - loss / 100)
        at_final = (node.indication / (1 - loss / 100) for node in nodes if loss < 100)
        places = {highest, *(node.indication for node in nodes), *at_final}
        every = [_at(nodes, loss, place) for place in sorted(places) if 0 < place <= highest]
        worst = max(every, key=lambda e: abs(e.value or Fraction(0)))
        return worst._replace(remark=_WORST)

    return Fault("non-linearity", key, _CURVE, effect)


def _at(nodes: Sequence[Node], loss: Fraction, mass: Fraction) -> Effect:
    left = mass * (1 - loss / 100)
    if mass <= 0 or max(mass, left) > nodes[-1].indication:
        return _BEYOND
    (e0, u0), (e1, u1) = _error(nodes, mass), _error(nodes, left)
    if mass <= e0:
        return _BEYOND
    value = 100 * ((left - e1) / (mass - e0) - left / mass)
    u = None
    if u0 is not None and u1 is not None:
        u = float(100 * abs(left - e1) / (mass - e0) ** 2 * u0 + 100 / (mass - e0) * u1)
    return Effect(value, u, mass=mass)


def _error(nodes: Sequence[Node], indication: Fraction) -> tuple[Fraction, Fraction | None]:
    """Error and its U where the balance shows this much."""
    place = max(1, bisect_left(nodes, indication, key=lambda node: node.indication))
    low, high = nodes[place - 1], nodes[place]
    width = high.indication - low.indication
    share = (indication - low.indication) / width if width else Fraction(0)
    error = low.error + share * (high.error - low.error)
    if low.expanded is None or high.expanded is None:
        return error, None
    return error, low.expanded + share * (high.expanded - low.expanded)
