"""A linearity check reckoned by hand: points, curve, lines through it, and all that judges them."""

from collections.abc import Sequence

from weighworthy_service.checks.explaining.concluding import conclude
from weighworthy_service.checks.explaining.errors import error_inputs, net_weights, one_error
from weighworthy_service.checks.explaining.formula import Figure
from weighworthy_service.checks.explaining.inputs import Inputs, reading
from weighworthy_service.checks.explaining.judging import Case, Places, explain_case
from weighworthy_service.checks.explaining.reasons import Reasons
from weighworthy_service.checks.explaining.sheet import Sheet, Step
from weighworthy_service.checks.linearity.check import LinearityCheck
from weighworthy_service.checks.linearity.curve import PointRead, mean_errors, read_points
from weighworthy_service.checks.linearity.explained_curve import ExplainedCurve, Mean
from weighworthy_service.checks.outcome import Evaluation
from weighworthy_service.checks.terms import Terms

_SHOWN_OF_POINTS = (
    "load",
    "mass",
    "error",
    "expanded_uncertainty",
    "lower_limit",
    "upper_limit",
    "margin",
    "verdict",
)


def explain(check: LinearityCheck, terms: Terms, evaluation: Evaluation) -> Sequence[Step]:
    """The sheet of one evaluated check."""
    return _Explaining(check, terms, evaluation).steps()


class _Explaining:
    def __init__(self, check: LinearityCheck, terms: Terms, evaluation: Evaluation) -> None:
        self.sheet = Sheet()
        self.inputs = Inputs(self.sheet, check.circumstances)
        self.check, self.terms, self.evaluation = check, terms, evaluation
        self.points = read_points(check)
        self.adjusted = check.circumstances.occasion == "after-adjustment"
        self.errors: list[Figure] = []
        self.masses: list[Figure] = []
        self.zeros: list[str] = []
        self.verdicts: list[Figure] = []
        self.reasons = Reasons(self.inputs, evaluation.findings)

    def steps(self) -> Sequence[Step]:
        zero = 0
        for p in self.points:
            if self.check.points[p.index].zero is not None:
                zero = p.index
            self._point(p, zero)
        far = self.evaluation.results["largest_error"]["index"]
        self.sheet.also(self.errors[far], "/results/largest_error/value")
        self.inputs.nominal(self.check.points[far].load, "/results/largest_error/load")
        means = self._curve()
        curve = ExplainedCurve(
            self.inputs,
            self.terms,
            self.evaluation,
            means,
            self.reasons,
            adjusted=self.adjusted,
        )
        verdicts = [*curve.explain_lines(), *curve.explain_hysteresis(self._turns())]
        used = [name for p in self.check.points for name in p.load]
        self.reasons.of_the_sitting(used, self.terms)
        conclude(self.sheet, [*self.verdicts, *verdicts], self.evaluation)
        return self.sheet.steps

    def _point(self, p: PointRead, zero: int) -> None:
        names, at = self.check.points[p.index].load, f"/results/points/{p.index}"
        criterion = self.evaluation.criteria[0]
        chosen = criterion.index == p.index
        others = [(at, _SHOWN_OF_POINTS)]
        places = Places("/criteria/0" if chosen else None, others)
        load = self.inputs.nominal(names, *places.of("load"))
        mass = self.inputs.mass(names, f"{at}/mass")
        indication = reading("I", p.indication, "points", p.index, "indication")
        before = reading("Z", p.zero, "points", zero, "zero")
        self.reasons.of_a_reading(before, f"/points/{zero}/zero")
        self.reasons.of_a_reading(indication, f"/points/{p.index}/indication")
        of = indication - before - mass
        what = f"error of indication of point {p.index}"
        gives = [f"{at}/error", *(["/criteria/0/value"] if chosen else [])]
        error = self.sheet.step(what, "E", of, "g", gives=gives)
        self.errors.append(error)
        self.masses.append(mass)
        self.zeros.append(f"zero {zero}")
        shares = one_error(self.zeros[-1], names)
        correlation = self.terms.weights_correlation
        rows = error_inputs(self.inputs, shares, correlation, adjusted=self.adjusted)
        judged = self.evaluation.results["points"][p.index]["verdict"] is not None
        case = Case(
            criterion.name,
            what,
            error,
            rows,
            "g",
            judged,
            load,
            p.load,
            criterion.key,
            f"/points/{p.index}",
            net_weights(shares),
        )
        said = explain_case(self.inputs, case, self.terms, places, self.reasons)
        if chosen and said.verdict is not None:
            self.verdicts.append(said.verdict)

    def _curve(self) -> list[Mean]:
        means = []
        for k, mean in enumerate(mean_errors(self.points)):
            at = f"/results/curve/{k}"
            of = [p for p in self.points if p.load == mean.load]
            self.inputs.nominal(self.check.points[of[0].index].load, f"{at}/load")
            means.append(self._mean(of, "", [f"{at}/error"], [f"{at}/mass"]))
        return means

    def _mean(
        self, points: Sequence[PointRead], which: str, gives: Sequence[str], of_mass: Sequence[str]
    ) -> Mean:
        """Mean of the errors of points of one nominal load, at the mean of their masses."""
        here = [p.index for p in points]
        load = self.inputs.nominal(self.check.points[here[0]].load)
        return Mean.of(
            self.sheet,
            f"{which}at {load.text} g",
            errors=[self.errors[i] for i in here],
            masses=[self.masses[i] for i in here],
            reads=[(self.zeros[i], self.check.points[i].load) for i in here],
            load=load,
            nominal=points[0].load,
            gives=gives,
            of_mass=of_mass,
        )

    def _turns(self) -> list[tuple[Mean, Mean]]:
        """Falling and rising means, in the order of the answer."""
        turns = []
        for turn in self.evaluation.results["hysteresis"]:
            of = [p for p in self.points if p.load == turn["load"]]
            falling, rising = (
                self._mean([p for p in of if p.direction == way], f"{way} ", (), ())
                for way in ("down", "up")
            )
            turns.append((falling, rising))
        return turns
