"""How far from a result a check may lie and still speak for it (common practice, no source).

- Span, linearity: a balance is checked up to its highest load; a result with more on the pan is not
  covered. Below, the curve is anchored at zero, so there is no lower end.
- Simulated loss: what is read as a change of zero goes with 1/I0, so the check's initial mass must
  not be more than twice, nor less than half the result's; what goes in proportion to the loss
  grows with it, so the loss must not be above twice the check's. There is no lower end: what goes
  with the loss is less for a smaller one, and the rest hardly depends on it.

Ends are inside. A check that does not tell its loads, or a result that does not state its mass or
loss, leaves the question open: `range-unknown`.
"""

from collections.abc import Iterable
from fractions import Fraction
from typing import Final, NamedTuple

from weighworthy_service.checks.outcome import Finding
from weighworthy_service.logbook.entries import CheckSaid, Entry, Result
from weighworthy_service.logbook.figures import figure, rows
from weighworthy_service.logbook.shift_loss import seen

FACTOR: Final = 2


class Reach(NamedTuple):
    """What a check covers: initial masses in g, losses in %, ends included; None: not told.

    `any_loss`: losses do not matter to this kind.
    """

    least_mass: Fraction | None
    most_mass: Fraction | None
    most_loss: Fraction | None
    any_loss: bool


def reach_of(said: CheckSaid) -> Reach:
    """From the loads of the answer; the load of a criterion where it is the only one."""
    if said.check == "simulated-loss":
        criterion = said.criteria[0] if said.criteria else {}
        saw = seen(said.results, criterion)
        mass, loss = saw.mass, saw.reported
        return Reach(
            None if mass is None else mass / FACTOR,
            None if mass is None else mass * FACTOR,
            None if loss is None else loss * FACTOR,
            any_loss=False,
        )
    name = "rounds" if said.check == "span" else "points"
    loads = [figure(row, "load") for row in rows(said.results, name)]
    if said.check == "span":
        # Each round has its own criterion; of a linearity check only one point has.
        loads += [figure(c, "load") for c in said.criteria if c.get("name") == "span_error"]
    highest = max((load for load in loads if load is not None), default=None)
    return Reach(Fraction(0), highest, None, any_loss=True)


def range_findings(entry: Entry, reach: Reach, result: Result) -> Iterable[Finding]:
    """Whether a result lies within what a check covers."""
    assert entry.said is not None  # noqa: S101  an entry of kind check
    what = f"the {entry.said.check} check {entry.id}"
    outside, unknown = [], []
    if reach.most_mass is None or reach.least_mass is None:
        unknown.append(f"{what} does not tell what it weighed: its reach is not known")
    elif result.initial_mass is None:
        unknown.append("the result states no initial mass: whether a check covers it is not known")
    elif not reach.least_mass <= result.initial_mass <= reach.most_mass:
        outside.append(
            f"{what} covers initial masses {_between(reach)}, "
            f"and the result has {result.initial_mass} g"
        )
    if not reach.any_loss:
        if reach.most_loss is None:
            unknown.append(f"{what} does not tell its loss: its reach is not known")
        elif result.loss is None:
            unknown.append("the result states no loss: whether a check covers it is not known")
        elif result.loss > reach.most_loss:
            outside.append(
                f"{what} covers losses up to {_shown(reach.most_loss)} %, "
                f"and the result has {result.loss} %"
            )
    if outside:
        yield Finding("range-not-covered", "warning", "; ".join(outside))
    for message in unknown:
        yield Finding("range-unknown", "note", message)


def _between(reach: Reach) -> str:
    assert reach.most_mass is not None  # noqa: S101  as its caller knows
    upto = f"up to {_shown(reach.most_mass)} g"
    return f"from {_shown(reach.least_mass)} g {upto}" if reach.least_mass else upto


def _shown(value: Fraction | None) -> str:
    return f"{float(value or 0):.6g}"
