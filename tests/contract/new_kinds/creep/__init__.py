"""A load that stays on the pan: what the registry would have of it."""

from typing import Any


def kind() -> Any:
    """Its entry."""
    from creep import evaluation, rehearsal
    from creep.schema import CreepForm
    from weighworthy_service.checks.kind import Kind
    from weighworthy_service.wire.request import several_loads

    return Kind(
        "creep",
        "Creep",
        "creep",
        CreepForm(),
        evaluation.evaluate,
        evaluation.CRITERIA,
        rehearsal.rehearse,
        loads=several_loads(5),
    )
