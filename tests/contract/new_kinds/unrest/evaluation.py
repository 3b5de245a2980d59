"""Largest reading minus smallest."""

from fractions import Fraction

from unrest.check import UnrestCheck
from weighworthy_service.checks.conclusion import conclude, in_order, nothing_judged
from weighworthy_service.checks.contributions import digitisation
from weighworthy_service.checks.judging import Computed, judge
from weighworthy_service.checks.outcome import CriterionName, Evaluation
from weighworthy_service.checks.terms import Terms
from weighworthy_service.checks.validity import sitting_findings
from weighworthy_service.metrology.quantity import EXACT

UNREST = CriterionName("unrest", "g", on_pan=False, on_grid=True, magnitude=True)
CRITERIA = (UNREST,)


def evaluate(check: UnrestCheck, terms: Terms) -> Evaluation:
    """Judge the range of the readings."""
    here = check.circumstances
    read = [reading.indication for reading in check.readings]
    value = EXACT.subtract(max(read), min(read))
    rows = list(digitisation("zero readings", here.instrument, [1, -1]))
    judged = judge(UNREST, Computed("unrest", value, rows, Fraction(0)), terms, here)
    found = [*judged.findings, *sitting_findings(here, (), terms)]
    verdict, if_valid = conclude([judged.criterion.verdict], found)
    return Evaluation(
        check="unrest",
        verdict=verdict,
        verdict_as_found=verdict,
        verdict_as_left=verdict,
        verdict_if_valid=if_valid,
        usable=terms.lets_use(verdict),
        criteria=(judged.criterion,),
        results={"readings": len(read)},
        findings=in_order([*found, *nothing_judged(verdict, if_valid)]),
    )
