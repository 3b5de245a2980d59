"""Runs with a reference material reckoned by hand: losses, their mean and scatter, the verdict."""

from collections.abc import Sequence
from decimal import Decimal

from weighworthy_service.checks.explaining.budget import Input, digitisation, root, scatter
from weighworthy_service.checks.explaining.concluding import conclude
from weighworthy_service.checks.explaining.formula import Figure, Formula, formula
from weighworthy_service.checks.explaining.functions import (
    ascending,
    c4,
    chi_square,
    sqrt,
    total,
)
from weighworthy_service.checks.explaining.inputs import Inputs, reading
from weighworthy_service.checks.explaining.judging import Case, Explained, Places, explain_case
from weighworthy_service.checks.explaining.reasons import Reasons
from weighworthy_service.checks.explaining.sheet import EXACT_DIGITS, FLOAT_DIGITS, Sheet, Step
from weighworthy_service.checks.explaining.shows import explain_smallest, threshold_of
from weighworthy_service.checks.outcome import Evaluation
from weighworthy_service.checks.reference_material.check import ReferenceMaterialCheck
from weighworthy_service.checks.reference_material.losses import Losses
from weighworthy_service.checks.terms import Terms
from weighworthy_service.metrology.scatter import COVERAGE

_MEAN = "JCGM 100:2008, 4.2.1"
_VARIANCE = "JCGM 100:2008, 4.2.2"
_POOLED = "JCGM 100:2008, H.3.6"
_OWN = ("scatter", "repeatability", "digitisation")


def explain(check: ReferenceMaterialCheck, terms: Terms, evaluation: Evaluation) -> Sequence[Step]:
    """The sheet of one evaluated check."""
    return _Explaining(check, terms, evaluation).steps()


class _Explaining:
    def __init__(self, check: ReferenceMaterialCheck, terms: Terms, said: Evaluation) -> None:
        self.sheet = Sheet()
        self.inputs = Inputs(self.sheet, check.circumstances)
        self.check, self.terms, self.evaluation = check, terms, said
        self.losses = Losses(check)
        self.n = self.losses.n
        self.reasons = Reasons(self.inputs, said.findings)

    def steps(self) -> Sequence[Step]:
        stated = reading("L_stated", self.check.material.stated_loss, "material", "stated_loss")
        gives = ["/results/stated_loss"]
        self.stated = self.sheet.step("stated loss", "L_stated", stated, "%", gives=gives)
        self.found = [self._loss(i) for i in range(self.n)]
        self.slopes = [self._slopes(i) for i in range(self.n)]
        gives = ["/results/mean_loss"]
        of = total([*self.found]) / self.n
        self.mean = self.sheet.step("mean loss", "L_mean", of, "%", gives=gives, source=_MEAN)
        gives = ["/criteria/0/value", "/results/bias"]
        of = self.mean - self.stated
        self.bias = self.sheet.step("bias", "B", of, "%", gives=gives)
        gives = ["/results/recovery"]
        self.sheet.step("recovery", "R", 100 * self.mean / self.stated, "%", gives=gives)
        self._scatter_of_runs()
        said = self._judge(0, "bias", self.bias, self._rows_of_bias())
        verdicts = [said.verdict]
        self._beside(said)
        if self.n > 1:
            rows = self._rows_of_scatter()
            verdicts.append(self._judge(1, "scatter", self.deviation, rows).verdict)
        self.reasons.of_the_sitting((), self.terms)
        conclude(self.sheet, [v for v in verdicts if v is not None], self.evaluation)
        return self.sheet.steps

    def _mass(self, i: int, name: str, symbol: str) -> Figure:
        value: Decimal = getattr(self.check.runs[i], name)
        return reading(symbol, value, "runs", i, name)

    def _loss(self, i: int) -> Figure:
        at, run = f"/results/runs/{i}", self.check.runs[i]
        if run.has_masses:
            initial, final = self._masses(i)
            for name, mass in (("initial_mass", initial), ("final_mass", final)):
                self.reasons.of_a_reading(mass, f"/runs/{i}/{name}")
            self.sheet.step(
                f"mass before run {i}", "I_0", initial, "g", gives=[f"{at}/initial_mass"]
            )
            base = initial if self.check.basis == "wet" else final
            of: Formula = 100 * (initial - final) / base
        else:
            of = self._mass(i, "displayed_loss", "L_shown")
        found = self.sheet.step(f"loss of run {i}", "L", of, "%", gives=[f"{at}/loss"])
        off = found - self.stated
        self.sheet.step(f"deviation of run {i}", "D", off, "%", gives=[f"{at}/deviation"])
        share = 100 * found / self.stated
        self.sheet.step(f"recovery of run {i}", "R", share, "%", gives=[f"{at}/recovery"])
        return found

    def _masses(self, i: int) -> tuple[Figure, Figure]:
        return self._mass(i, "initial_mass", "I_0"), self._mass(i, "final_mass", "I_1")

    def _slopes(self, i: int) -> tuple[Figure, Figure] | None:
        """Sensitivities of a loss from masses to both."""
        if not self.check.runs[i].has_masses:
            return None
        initial, final = self._masses(i)
        if self.check.basis == "wet":
            to_initial, to_final = 100 * final / initial**2, -100 / initial
        else:
            to_initial, to_final = 100 / final, -100 * initial / final**2
        return (
            self.sheet.step(f"sensitivity of run {i} to I_0", "c_0", to_initial, "%/g"),
            self.sheet.step(f"sensitivity of run {i} to I_1", "c_1", to_final, "%/g"),
        )

    def _scatter_of_runs(self) -> None:
        parts: list[tuple[Formula, Formula]] = []
        if self.n > 1:
            squares = total([(found - self.mean) ** 2 for found in self.found])
            what, of = "variance of single losses", squares / (self.n - 1)
            self.variance = self.sheet.step(what, "s2", of, "%2", source=_VARIANCE)
            at = "/results/standard_deviation"
            self.deviation = self.sheet.step(
                "standard deviation of single losses",
                "s",
                sqrt(self.variance),
                "%",
                gives=["/criteria/1/value", f"{at}/value"],
                shown=EXACT_DIGITS,
            )
            self._interval(at)
            parts.append((self.variance, formula(self.n - 1)))
        if self.check.spread is not None:
            earlier = reading(
                "s_earlier", self.check.spread.standard_deviation, "spread", "standard_deviation"
            )
            count = Decimal(self.check.spread.observations)
            n = reading("n_earlier", count, "spread", "observations")
            parts.append((earlier**2, n - 1))
        self.pooled: tuple[Figure, Formula] | None = None
        if parts:
            degrees = total([nu for _, nu in parts])
            of = total([s2 * nu for s2, nu in parts]) / degrees
            what = "variance that counts for the mean"
            square = self.sheet.step(what, "s2_p", of, "%2", source=_POOLED)
            self.pooled = square, degrees

    def _interval(self, at: str) -> None:
        what, gives = "coverage of the interval", [f"{at}/coverage"]
        self.sheet.step(what, "p", formula(COVERAGE * 100), "%", gives=gives)
        coverage = formula(COVERAGE)
        for name, tail in (("lower", (1 + coverage) / 2), ("upper", (1 - coverage) / 2)):
            of = chi_square(tail, formula(self.n - 1))
            chi = self.sheet.step(f"chi-square for the {name} end", "chi2", of, "1")
            of = self.deviation * sqrt((self.n - 1) / chi)
            what = f"{name} end of the interval of the standard deviation"
            gives = [f"{at}/{name}"]
            self.sheet.step(what, f"s_{name}", of, "%", gives=gives, shown=FLOAT_DIGITS)

    def _rows_of_bias(self) -> list[Input]:
        rows = []
        u = self._material()
        if u is not None:
            rows.append(Input("stated loss of the material", "%", u, formula(-1)))
        if self.pooled is not None:
            square, degrees = self.pooled
            if square.number:
                share = 1 / sqrt(formula(self.n))
                rows.append(Input("scatter between runs", "%", sqrt(square), share, degrees))
        elif (only := self.slopes[0]) is not None:
            rows += scatter(self.inputs, root(only))
        return [*rows, *self._rounding(formula(self.n))]

    def _material(self) -> Formula | None:
        material = self.check.material
        if material.expanded_uncertainty is not None:
            u = reading("U", material.expanded_uncertainty, "material", "expanded_uncertainty")
            k: Formula = formula(2)
            if material.coverage_factor is not None:
                k = reading("k", material.coverage_factor, "material", "coverage_factor")
            of: Formula = u / k
        elif material.standard_uncertainty is not None:
            of = reading("u", material.standard_uncertainty, "material", "standard_uncertainty")
        else:
            return None
        gives = ["/results/stated_standard_uncertainty"]
        return self.sheet.step("uncertainty of the stated loss", "u_ref", of, "%", gives=gives)

    def _rows_of_scatter(self) -> list[Input]:
        rows = []
        if self.deviation.number:
            constant = self.sheet.step("c4", "c4", c4(formula(self.n)), "1")
            u = self.deviation * sqrt(1 / constant**2 - 1)
            basis = "JCGM 100:2008, E.4.3, exactly"
            of = formula(self.n - 1)
            rows.append(Input("scatter of so few runs", "%", u, formula(1), of, basis))
        return [*rows, *self._rounding(sqrt(formula(self.n)))]

    def _rounding(self, per: Formula) -> list[Input]:
        weighed = [each for each in self.slopes if each is not None]
        rows = []
        if weighed:
            loads = root([c for each in weighed for c in each]) / per
            zeros = root([-(initial + final) for initial, final in weighed]) / per
            rows += digitisation(self.inputs, "loaded readings", loads)
            rows += digitisation(self.inputs, "zero readings", zeros)
        shown = self.slopes.count(None)
        if shown:
            instrument = self.check.circumstances.instrument
            parts = 3 if instrument.loss_rounding == "down" else 12
            u = self.inputs.instrument("d_L", "loss_interval") / sqrt(formula(parts))
            source, share = "digitisation of the displayed loss", formula(shown) / self.n
            rows.append(Input(source, "%", u, share, basis="JCGM 100:2008, F.2.2.1"))
        return rows

    def _judge(self, place: int, what: str, value: Figure, rows: Sequence[Input]) -> Explained:
        criterion = self.evaluation.criteria[place]
        judged = criterion.lower_limit is not None or criterion.upper_limit is not None
        case = Case(
            criterion.name,
            what,
            value,
            rows,
            "%",
            judged,
            key=criterion.key,
            place="/runs",
        )
        places = Places(f"/criteria/{place}")
        return explain_case(self.inputs, case, self.terms, places, self.reasons)

    def _beside(self, said: Explained) -> None:
        found, gives = said.found, ["/results/zeta_score"]
        of = self.bias / found.standard
        self.sheet.step("zeta score", "zeta", of, "1", gives=gives, shown=FLOAT_DIGITS)
        gives = ["/results/bias_to_uncertainty"]
        off = abs(self.bias)
        self.sheet.step("bias to uncertainty", "r", off / found.expanded, "1", gives=gives)
        self.reasons.unless("bias-significant", ascending(off, found.expanded), "/runs")
        line = self.evaluation.results["reveals"][0]
        if line["smallest"] is not None and said.limited is not None:
            at = "/results/reveals/0"
            shows = threshold_of(self.inputs, found, said.limited, own=_OWN, unit="%")
            what = "sensitivity of the bias to it"
            self.sheet.step(what, "c", formula(1), "1", gives=[f"{at}/sensitivity"])
            explain_smallest(self.inputs, "error of the whole drying", shows, "%", at)
