"""An empty pan whose display does not rest: what the registry would have of it."""

from typing import Any


def kind() -> Any:
    """Its entry."""
    from unrest import evaluation, rehearsal
    from unrest.schema import UnrestForm
    from weighworthy_service.checks.kind import Kind

    return Kind(
        "unrest",
        "Unrest",
        "unrest",
        UnrestForm(),
        evaluation.evaluate,
        evaluation.CRITERIA,
        rehearsal.rehearse,
    )
