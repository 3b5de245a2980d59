"""The sheet in its JSON form."""

from collections.abc import Iterable
from typing import Any

from weighworthy_service.checks.explaining.sheet import Step


def jsonable(steps: Iterable[Step]) -> list[dict[str, Any]]:
    """Every step with all its fields; figures are texts, so that no digit is lost."""
    return [
        {
            "step": step.number,
            "what": step.what,
            "symbol": step.symbol,
            "formula": step.formula,
            "figures": step.figures,
            "result": step.result,
            "exact": step.exact,
            "digits": step.digits,
            "unit": step.unit,
            "where": [
                {"name": where.name, "figure": where.figure, "from": where.origin}
                for where in step.where
            ],
            "source": step.source,
            "gives": list(step.gives),
            "gives_digits": step.shown_digits,
        }
        for step in steps
    ]
