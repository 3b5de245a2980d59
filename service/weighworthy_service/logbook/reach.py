"""Whether a check may speak for a result, by what its kind says of its reach.

Ends are inside. A check that does not tell what it covers, or a result that does not state its mass
or loss, leaves the question open: `range-unknown`. So does a kind without a part `reach`.
"""

from collections.abc import Iterable
from fractions import Fraction

from weighworthy_service.checks.outcome import Finding
from weighworthy_service.checks.reach import Reach
from weighworthy_service.checks.registry import BY_SLUG
from weighworthy_service.logbook.entries import CheckSaid, Entry, Result


def reach_of(said: CheckSaid) -> Reach | None:
    """From what an answer tells; None: checks of this kind do not tell what they cover."""
    part = BY_SLUG[said.check].part("reach")
    if part is None:
        return None
    reach: Reach = part.reach(said.criteria, said.results)
    return reach


def range_findings(entry: Entry, reach: Reach | None, result: Result) -> Iterable[Finding]:
    """Whether a result lies within what a check covers."""
    assert entry.said is not None  # noqa: S101  an entry of kind check
    what = f"the {entry.said.check} check {entry.id}"
    if reach is None:
        message = f"{what} does not tell which masses and losses it speaks for"
        yield Finding("range-unknown", "note", message)
        return
    outside, unknown = [], []
    if reach.any_mass:
        pass
    elif reach.most_mass is None or reach.least_mass is None:
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
