"""From the verdicts on single figures to that of the whole check.

What makes a check void are no figures; its findings tell. They do not hide what it would have been.
"""

from collections.abc import Sequence

from weighworthy_service.checks.explaining.formula import Figure
from weighworthy_service.checks.explaining.functions import worst
from weighworthy_service.checks.explaining.sheet import Sheet
from weighworthy_service.checks.outcome import Evaluation, Verdict


def conclude(sheet: Sheet, verdicts: Sequence[Figure], evaluation: Evaluation) -> None:
    """The verdict of a check that speaks for one state of the balance."""
    explain_verdict(
        sheet,
        "verdict of the check",
        verdicts,
        evaluation.verdict,
        gives=["/verdict", "/verdict_as_found", "/verdict_as_left"],
        if_valid="/verdict_if_valid",
    )


def explain_verdict(
    sheet: Sheet,
    what: str,
    verdicts: Sequence[Figure],
    said: Verdict | None,
    *,
    gives: Sequence[str],
    if_valid: str | None,
) -> None:
    """The worst of several. `said`: what the answer has; `if_valid`: where, had it been valid."""
    if not verdicts or said is None:
        return
    if said != "void":
        sheet.step(what, "verdict", worst(*verdicts), gives=gives)
    elif if_valid is not None:
        sheet.step(f"{what}, had it been valid", "verdict", worst(*verdicts), gives=[if_valid])
