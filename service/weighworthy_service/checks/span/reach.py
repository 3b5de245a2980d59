"""A balance is checked up to its highest load: below, the curve is anchored at zero."""

from collections.abc import Sequence

from weighworthy_service.checks.faults import Said
from weighworthy_service.checks.figures import figure, rows
from weighworthy_service.checks.reach import Reach, up_to


def reach(criteria: Sequence[Said], results: Said) -> Reach:
    """Up to the highest load of a round; each has a criterion of its own."""
    loads = [figure(row, "load") for row in rows(results, "rounds")]
    loads += [figure(c, "load") for c in criteria if c.get("name") == "span_error"]
    return up_to(max((load for load in loads if load is not None), default=None))
