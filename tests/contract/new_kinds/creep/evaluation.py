"""Last reading minus first."""

from fractions import Fraction

from creep.check import CreepCheck
from weighworthy_service.checks.conclusion import conclude, in_order, nothing_judged
from weighworthy_service.checks.contributions import digitisation, repeatability
from weighworthy_service.checks.judging import Computed, judge
from weighworthy_service.checks.outcome import CriterionName, Evaluation
from weighworthy_service.checks.remarks import input_remarks
from weighworthy_service.checks.terms import Terms
from weighworthy_service.checks.validity import Observed, reading_findings, sitting_findings
from weighworthy_service.metrology.quantity import EXACT

CREEP = CriterionName("creep", "g", on_grid=True)
CRITERIA = (CREEP,)


def evaluate(check: CreepCheck, terms: Terms) -> Evaluation:
    """Judge what the display crept."""
    here, read = check.circumstances, check.readings
    value = EXACT.subtract(read[-1].indication, read[0].indication)
    rows = [
        *digitisation("loaded readings", here.instrument, [1, -1]),
        *repeatability(here.instrument, [1]),
    ]
    computed = Computed(
        "creep", value, rows, Fraction(0), load=here.nominal(check.load), place=("readings",)
    )
    judged = judge(CREEP, computed, terms, here)
    observed = [
        Observed(("readings", i, "indication"), r.indication, ("readings", i), r.stable)
        for i, r in enumerate(read)
    ]
    found = [
        *judged.findings,
        *reading_findings(observed, here, terms),
        *sitting_findings(here, check.load, terms),
        *input_remarks(here, check.load, built_up=len(check.load) > 1, buoyancy=False),
    ]
    verdict, if_valid = conclude([judged.criterion.verdict], found)
    return Evaluation(
        check="creep",
        verdict=verdict,
        verdict_as_found=verdict,
        verdict_as_left=verdict,
        verdict_if_valid=if_valid,
        usable=terms.lets_use(verdict),
        criteria=(judged.criterion,),
        results={"after": read[-1].at},
        findings=in_order([*found, *nothing_judged(verdict, if_valid)]),
    )
