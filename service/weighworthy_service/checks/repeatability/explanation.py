"""A repeatability check reckoned by hand: from net indications to scatter, interval and verdict."""

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction
from functools import partial

from weighworthy_service.checks.explaining.budget import Input, digitisation
from weighworthy_service.checks.explaining.concluding import conclude
from weighworthy_service.checks.explaining.formula import Figure, Formula, formula
from weighworthy_service.checks.explaining.functions import (
    ascending,
    c4,
    chi_square,
    largest,
    quantile,
    smallest,
    sqrt,
    total,
    upwards,
)
from weighworthy_service.checks.explaining.inputs import Inputs
from weighworthy_service.checks.explaining.judging import Case, Limited, Places, explain_case
from weighworthy_service.checks.explaining.placings import explain_net
from weighworthy_service.checks.explaining.reasons import Reasons
from weighworthy_service.checks.explaining.sheet import EXACT_DIGITS, FLOAT_DIGITS, Sheet, Step
from weighworthy_service.checks.explaining.shows import explain_smallest
from weighworthy_service.checks.outcome import Evaluation
from weighworthy_service.checks.placings import net_indications
from weighworthy_service.checks.repeatability.check import RepeatabilityCheck
from weighworthy_service.checks.repeatability.evaluation import HANDED_ON_DIGITS
from weighworthy_service.checks.repeatability.scatter import (
    FACTOR,
    FLOOR,
    SHARE,
    Scatter,
)
from weighworthy_service.checks.shows import PROBABILITY
from weighworthy_service.checks.terms import Terms
from weighworthy_service.metrology.scatter import COVERAGE
from weighworthy_service.metrology.spread import ROOT_DIGITS

_USP: str = "USP <41>, from a secondary text"
_RANGE = "OIML R 76-1:2006, 3.6, from a secondary text"
# What 34 digits times 2000 have.
_PRODUCT_DIGITS = 40


def explain(check: RepeatabilityCheck, terms: Terms, evaluation: Evaluation) -> Sequence[Step]:
    """The sheet of one evaluated check."""
    return _Explaining(check, terms, evaluation).steps()


class _Explaining:
    def __init__(self, check: RepeatabilityCheck, terms: Terms, evaluation: Evaluation) -> None:
        self.sheet = Sheet()
        self.inputs = Inputs(self.sheet, check.circumstances)
        self.check, self.terms, self.evaluation = check, terms, evaluation
        self.reasons = Reasons(self.inputs, evaluation.findings)
        instrument = check.circumstances.instrument
        self.scatter = Scatter(net_indications(check.placings), instrument)
        self.n = self.scatter.n
        self.nominal = check.circumstances.nominal(check.load)
        self.d = self.inputs.instrument("d", "scale_interval")

    def steps(self) -> Sequence[Step]:
        places = ("/results/load", "/criteria/0/load", "/criteria/1/load")
        self.load = self.inputs.nominal(self.check.load, *places)
        of_one = partial(explain_net, self.inputs, self.reasons, self.check.placings, self.load)
        nets = [of_one(net) for net in self.scatter.nets]
        mean = self.sheet.step(
            "mean net indication", "x_mean", total([*nets]) / self.n, "g", gives=["/results/mean"]
        )
        self.deviations = [
            self.sheet.step(
                f"deviation of placing {i} from the mean",
                "v",
                x - mean,
                "g",
                gives=[f"/results/placings/{i}/deviation"],
            )
            for i, x in enumerate(nets)
        ]
        self.variance = self.sheet.step(
            "variance", "s2", total([v**2 for v in self.deviations]) / (self.n - 1), "g2"
        )
        s = self.sheet.step(
            "standard deviation",
            "s",
            sqrt(self.variance),
            "g",
            gives=["/criteria/0/value", "/results/standard_deviation/value"],
            shown=EXACT_DIGITS,
            digits=ROOT_DIGITS,
            source="JCGM 100:2008, 4.2.2",
        )
        floor = self.sheet.step(
            f"{FLOOR} d",
            "floor",
            formula(FLOOR) * self.d,
            "g",
            gives=["/results/floor/value"],
            source=_USP,
        )
        self.reasons.unless("scatter-below-floor", ascending(floor, s), "/placings")
        claimed = largest(s, floor)
        lowest = self._interval(s, floor)
        verdicts = [
            *self._judge_scatter(s),
            *self._judge_range(nets),
            *self._judge_net_mass(s, claimed),
        ]
        self._handed_on(claimed)
        self._drift(nets)
        self._understated(lowest)
        self.reasons.of_the_sitting(self.check.load, self.terms)
        conclude(self.sheet, verdicts, self.evaluation)
        return self.sheet.steps

    def _interval(self, s: Figure, floor: Figure) -> Figure:
        """√(ν/χ²)·s at both tails, and what it makes of the smallest net mass; the lower end."""
        coverage, ends = formula(COVERAGE), []
        self._constant(
            "coverage of the interval", "p", COVERAGE * 100, "%", "standard_deviation/coverage"
        )
        for name, tail in (("lower", (1 + coverage) / 2), ("upper", (1 - coverage) / 2)):
            chi = self.sheet.step(
                f"chi-square for the {name} end",
                "chi2",
                chi_square(tail, formula(self.n - 1)),
                "1",
            )
            of = s * sqrt((self.n - 1) / chi)
            what = f"{name} end of the interval of the standard deviation"
            gives = [f"/results/standard_deviation/{name}"]
            end = self.sheet.step(what, f"s_{name}", of, "g", gives=gives, shown=FLOAT_DIGITS)
            gives = [f"/results/smallest_net_mass/{name}"]
            mass = self._net_mass(largest(end, floor))
            what = f"{name} end of the interval of the smallest net mass"
            self.sheet.step(what, f"m_{name}", mass, "g", gives=gives, shown=FLOAT_DIGITS)
            ends.append(end)
        return ends[0]

    def _constant(self, what: str, symbol: str, value: Decimal, unit: str, place: str) -> None:
        self.sheet.step(what, symbol, formula(value), unit, gives=[f"/results/{place}"])

    def _net_mass(self, claimed: Formula) -> Formula:
        return 100 * FACTOR * claimed / formula(SHARE)

    def _judge_scatter(self, s: Figure) -> list[Figure]:
        said = self._judge(0, "standard deviation", s, self._rows(s, formula(1)), self.load)
        self._shows(said[1])
        return said[0]

    def _rows(self, s: Figure, per: Formula) -> list[Input]:
        """How few placings there are, and rounding: of s, or of so many times s."""
        rows = []
        if s.number:
            constant = self.sheet.step("c4", "c4", c4(formula(self.n)), "1", digits=ROOT_DIGITS)
            u = s * sqrt(1 / constant**2 - 1)
            basis = "JCGM 100:2008, E.4.3, exactly"
            rows.append(
                Input("scatter of the placings", "g", u, per, formula(self.n - 1), basis=basis)
            )
        loads = per if self.scatter.unresolved else per * sqrt(formula(1) / (self.n - 1))
        rows += digitisation(self.inputs, "loaded readings", loads)
        if self.scatter.share_of_zeros:
            rows += digitisation(self.inputs, "zero readings", per * sqrt(self._share_of_zeros()))
        return rows

    def _share_of_zeros(self) -> Formula:
        groups: dict[int, list[Figure]] = {}
        for net, v in zip(self.scatter.nets, self.deviations, strict=True):
            if net.zero is not None:
                groups.setdefault(net.zero, []).append(v)
        n = self.n
        if self.scatter.unresolved:
            sizes = [len(group) for group in groups.values()]
            squares = total([formula(size) ** 2 for size in sizes])
            return (n * total([formula(size) for size in sizes]) - squares) / (n * (n - 1))
        squares = total([total([*group]) ** 2 for group in groups.values()])
        return squares / ((n - 1) ** 2 * self.variance)

    def _judge_range(self, nets: Sequence[Figure]) -> list[Figure]:
        gives = ["/criteria/1/value", "/results/range"]
        of = largest(*nets) - smallest(*nets)
        value = self.sheet.step(
            "largest minus smallest net indication", "range", of, "g", gives=gives, source=_RANGE
        )
        rows = digitisation(self.inputs, "loaded readings", sqrt(formula(2)))
        zeros = self.scatter.zeros_of_range
        if zeros:
            rows += digitisation(self.inputs, "zero readings", sqrt(formula(zeros)))
        return self._judge(1, "range", value, rows, self.load)[0]

    def _judge_net_mass(self, s: Figure, claimed: Formula) -> list[Figure]:
        at = "smallest_net_mass"
        self._constant("factor of the scatter", "f", Decimal(FACTOR), "1", f"{at}/factor")
        self._constant("share that the scatter may take", "share", SHARE, "%", f"{at}/share")
        self._constant("least scatter in scale intervals", "r", FLOOR, "1", f"{at}/floor")
        value = self.sheet.step(
            "smallest net mass",
            "m_min",
            self._net_mass(claimed),
            "g",
            gives=["/criteria/2/value", f"/results/{at}/value"],
            shown=EXACT_DIGITS,
            digits=_PRODUCT_DIGITS,
            source=_USP,
        )
        per = 100 * formula(FACTOR) / formula(SHARE)
        return self._judge(2, "smallest net mass", value, self._rows(s, per), None)[0]

    def _judge(
        self, position: int, what: str, value: Figure, rows: Sequence[Input], load: Figure | None
    ) -> tuple[list[Figure], Limited | None]:
        criterion = self.evaluation.criteria[position]
        case = Case(
            criterion.name,
            what,
            value,
            rows,
            "g",
            criterion.verdict is not None,
            load,
            None if load is None else self.nominal,
            criterion.key,
            "/placings",
        )
        places = Places(f"/criteria/{position}")
        said = explain_case(self.inputs, case, self.terms, places, self.reasons)
        return [] if said.verdict is None else [said.verdict], said.limited

    def _shows(self, limited: Limited | None) -> None:
        """The scatter that passes in 5 of 100 checks only."""
        if limited is None or limited.upper is None:
            return
        if self.evaluation.results["reveals"][0]["smallest"] is None:
            return
        most = limited.upper if limited.guard is None else limited.upper - limited.guard
        tail = 1 - formula(Decimal(repr(PROBABILITY)))
        chi = self.sheet.step(
            "chi-square that is exceeded 95 times of 100",
            "chi2",
            chi_square(tail, formula(self.n - 1)),
            "1",
        )
        least = most * sqrt((self.n - 1) / chi)
        explain_smallest(self.inputs, "scatter", least, "g", "/results/reveals/0")

    def _handed_on(self, claimed: Formula) -> None:
        text = self.evaluation.results["declare"]["instrument"]["repeatability"]
        unit = text.partition(" ")[2]
        per_gram = {"g": 1, "mg": 1000, "ug": 1_000_000}[unit]
        of = per_gram * upwards(claimed, HANDED_ON_DIGITS)
        if f"{of.number}" == f"{Fraction(text.partition(' ')[0])}":
            gives = ["/results/declare/instrument/repeatability"]
            what = "repeatability to be stated for other checks"
            self.sheet.step(what, "s_stated", of, unit, gives=gives)

    def _drift(self, nets: Sequence[Figure]) -> None:
        """Least squares over the positions 0, 1, …: Σ(i - mean)² = n(n² - 1)/12."""
        n, at = self.n, "/results/drift"
        turned = total([formula(2 * i - n + 1) * x for i, x in enumerate(nets)])
        slope = self.sheet.step(
            "drift from placing to placing",
            "b",
            6 * turned / (n * (n**2 - 1)),
            "g",
            gives=[f"{at}/slope"],
            source="JCGM 100:2008, H.3.2",
        )
        if self.scatter.drift.critical is None:
            return
        extent = formula(n * (n**2 - 1)) / 12
        residual = self.sheet.step(
            "variance about the line",
            "s2_line",
            ((n - 1) * self.variance - slope**2 * extent) / (n - 2),
            "g2",
        )
        self.sheet.step(
            "standard deviation about the line",
            "s_line",
            sqrt(residual),
            "g",
            gives=[f"{at}/standard_deviation_about_line"],
            shown=EXACT_DIGITS,
            digits=ROOT_DIGITS,
        )
        u = self.sheet.step(
            "standard uncertainty of the drift",
            "u_b",
            sqrt(residual / extent),
            "g",
            gives=[f"{at}/standard_uncertainty"],
            shown=EXACT_DIGITS,
            digits=ROOT_DIGITS,
        )
        critical = self.sheet.step(
            "ratio that chance exceeds once in 20 times",
            "t",
            quantile(formula(Decimal("0.975")), formula(n - 2)),
            "1",
            gives=[f"{at}/critical_ratio"],
            shown=FLOAT_DIGITS,
        )
        if not residual.number:
            return
        ratio = self.sheet.step(
            "drift over its uncertainty",
            "ratio",
            abs(slope) / u,
            "1",
            gives=[f"{at}/ratio"],
            shown=FLOAT_DIGITS,
        )
        self.reasons.unless("drift-over-placings", ascending(ratio, critical), "/placings")

    def _understated(self, lower: Figure) -> None:
        if self.check.circumstances.instrument.repeatability is not None:
            stated = self.inputs.instrument("s_0", "repeatability")
            field = "/instrument/repeatability"
            self.reasons.unless("repeatability-understated", ascending(lower, stated), field)
