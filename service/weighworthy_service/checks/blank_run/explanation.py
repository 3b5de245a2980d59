"""Blank runs reckoned by hand: changes, their effect, what judges them, and what to declare."""

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from weighworthy_service.checks.blank_run.check import BlankRunCheck
from weighworthy_service.checks.blank_run.declaring import Together
from weighworthy_service.checks.blank_run.explained_lines import explain_end, explain_slope
from weighworthy_service.checks.blank_run.reading import HOUR, RunRead
from weighworthy_service.checks.blank_run.remarks import HOT
from weighworthy_service.checks.explaining.budget import (
    Input,
    digitisation,
    reckon,
    root,
    scatter,
)
from weighworthy_service.checks.explaining.concluding import conclude
from weighworthy_service.checks.explaining.formula import Figure, Formula, formula
from weighworthy_service.checks.explaining.functions import (
    ascending,
    half_even,
    largest,
    smallest,
    sqrt,
    to_multiple,
    total,
    upwards,
)
from weighworthy_service.checks.explaining.inputs import Inputs, reading
from weighworthy_service.checks.explaining.judging import (
    Case,
    Explained,
    Places,
    explain_case,
)
from weighworthy_service.checks.explaining.reasons import Reasons
from weighworthy_service.checks.explaining.sheet import EXACT_DIGITS, FLOAT_DIGITS, Sheet, Step
from weighworthy_service.checks.explaining.shows import explain_smallest, threshold_of
from weighworthy_service.checks.outcome import Evaluation
from weighworthy_service.checks.terms import Terms
from weighworthy_service.metrology.budget import SETTLED_DIGITS, STATED_DIGITS

_OWN = ("digitisation", "repeatability")


def explain(check: BlankRunCheck, terms: Terms, evaluation: Evaluation) -> Sequence[Step]:
    """The sheet of one evaluated check."""
    return _Explaining(check, terms, evaluation).steps()


class _Explaining:
    def __init__(self, check: BlankRunCheck, terms: Terms, evaluation: Evaluation) -> None:
        self.sheet = Sheet()
        self.inputs = Inputs(self.sheet, check.circumstances)
        self.check, self.terms, self.evaluation = check, terms, evaluation
        self.reasons = Reasons(self.inputs, evaluation.findings)
        self.together = Together(check, [RunRead(check, i) for i in range(len(check.runs))], terms)

    def steps(self) -> Sequence[Step]:
        gives = ["/criteria/1/load"]
        usual = reading("m", self.check.sample_mass, "sample_mass")
        self.mass = self.sheet.step("mass of the usual sample", "m", usual, "g", gives=gives)
        self.changes = [self._change(i) for i in range(len(self.check.runs))]
        self.effects = [self._effect(i) for i in range(len(self.check.runs))]
        verdicts = [self._judge_change(), self._judge_effect()]
        for i in range(len(self.check.runs)):
            self._rates(i)
            self._reasons(i)
        self._all_runs()
        self._declared()
        self.reasons.of_the_sitting((), self.terms)
        conclude(self.sheet, [v for v in verdicts if v is not None], self.evaluation)
        return self.sheet.steps

    def _change(self, i: int) -> Figure:
        run = self.check.runs[i]
        initial = reading("I_0", run.initial, "runs", i, "initial")
        final = reading("I_1", run.final, "runs", i, "final")
        self.reasons.of_a_reading(initial, f"/runs/{i}/initial")
        self.reasons.of_a_reading(final, f"/runs/{i}/final")
        gives = [f"/results/runs/{i}/change", *self._shown(0, i)]
        what = f"change of the indication in run {i}"
        return self.sheet.step(what, "Delta", final - initial, "g", gives=gives)

    def _effect(self, i: int) -> Figure:
        gives = [f"/results/runs/{i}/moisture_effect", *self._shown(1, i)]
        of = -100 * self.changes[i] / self.mass
        return self.sheet.step(f"moisture that run {i} feigns", "F", of, "%", gives=gives)

    def _shown(self, criterion: int, i: int) -> list[str]:
        chosen = self.evaluation.criteria[criterion].index == i
        return [f"/criteria/{criterion}/value"] if chosen else []

    def _rows(self, c: Formula) -> list[Input]:
        acting = root([c, -c])
        return [*digitisation(self.inputs, "zero readings", acting), *scatter(self.inputs, c)]

    def _judge_change(self) -> Figure | None:
        said = self._judge(0, self.changes, self._rows(formula(1)), None)
        self.standard = said.found.standard
        lines = self.evaluation.results["reveals"]
        sized = [k for k, line in enumerate(lines) if line["smallest"] is not None]
        if sized and said.limited is not None:
            shows = threshold_of(self.inputs, said.found, said.limited, own=_OWN, unit="g")
            for k in sized:
                at, what = f"/results/reveals/{k}", "sensitivity of the change to it"
                self.sheet.step(what, "c", formula(1), "1", gives=[f"{at}/sensitivity"])
                explain_smallest(self.inputs, "change of zero", shows, "g", at)
        return said.verdict

    def _judge_effect(self) -> Figure | None:
        return self._judge(1, self.effects, self._rows(-100 / self.mass), self.mass).verdict

    def _judge(
        self, place: int, values: Sequence[Figure], rows: Sequence[Input], load: Figure | None
    ) -> Explained:
        criterion = self.evaluation.criteria[place]
        judged = criterion.lower_limit is not None or criterion.upper_limit is not None
        said = {}
        # What is said of a run rests on its own figures, whichever is the most critical.
        for i, value in enumerate(values):
            case = Case(
                criterion.name,
                f"{criterion.name} of run {i}",
                value,
                rows,
                criterion.unit,
                judged,
                load,
                criterion.load,
                criterion.key,
                f"/runs/{i}",
            )
            places = Places(f"/criteria/{place}" if i == criterion.index else None)
            said[i] = explain_case(self.inputs, case, self.terms, places, self.reasons)
        assert criterion.index is not None  # noqa: S101  each is of a run
        return said[criterion.index]

    def _rates(self, i: int) -> None:
        run, at = self.check.runs[i], f"/results/runs/{i}"
        if run.duration is not None:
            lasted = reading("t", run.duration, "runs", i, "duration") / HOUR
            gives = [f"{at}/drift_rate"]
            of = self.changes[i] / lasted
            self.sheet.step(f"rate of drift in run {i}", "r", of, "g/h", gives=gives)
            gives = [f"{at}/drift_rate_uncertainty"]
            what = f"standard uncertainty of the rate in run {i}"
            of = self.standard / lasted
            self.sheet.step(what, "u_r", of, "g/h", gives=gives, shown=FLOAT_DIGITS)
        if self.together.runs[i].trend is not None:
            explain_slope(self.inputs, run.series or (), i)
            explain_end(self.inputs, self.together.runs[i], self.reasons)

    def _reasons(self, i: int) -> None:
        run = self.check.runs[i]
        if run.chamber_temperature is not None:
            place = f"/runs/{i}/chamber_temperature"
            warm = reading("T", run.chamber_temperature, "runs", i, "chamber_temperature")
            self.reasons.unless("run-not-hot", ascending(formula(HOT), warm), place)
        if run.duration is not None and self.check.usual_duration is not None:
            usual = reading("t_usual", self.check.usual_duration, "usual_duration")
            lasted = reading("t", run.duration, "runs", i, "duration")
            self.reasons.unless("run-short", ascending(usual, lasted), f"/runs/{i}/duration")

    def _all_runs(self) -> None:
        step, n = self.inputs.instrument("d", "scale_interval"), len(self.changes)
        gives = ["/results/mean_change/value"]
        of = total(list(self.changes)) / n
        self.mean = self.sheet.step("mean change", "Delta_mean", of, "g", gives=gives)
        if n > 1:
            squares = [(change - self.mean) ** 2 for change in self.changes]
            square = self.sheet.step("variance of changes", "s2", total(squares) / (n - 1), "g2")
            gives = ["/results/standard_deviation"]
            what = "standard deviation of changes"
            self.deviation = self.sheet.step(
                what, "s", sqrt(square), "g", gives=gives, shown=EXACT_DIGITS
            )
            least = smallest(*self.changes[1:]) - 2 * step
            kept = ascending(least, self.changes[0])
            self.reasons.unless("first-run-falls-more", kept, "/runs/0/final")
        rows = self._rows_of_mean(1 / sqrt(formula(n)))
        reckon(self.sheet, rows, "g", self.terms.decision, "/results/mean_change")
        far = self.together.largest.index
        self.far = self.sheet.also(self.changes[far], "/results/largest_change/value")
        for k, effect in enumerate(self.evaluation.results["effects"]):
            at, mass = f"/results/effects/{k}", effect["sample_mass"]
            of_such = self.sheet.step(
                f"a sample of {mass} g", "m", formula(mass), "g", gives=[f"{at}/sample_mass"]
            )
            gives = [f"{at}/moisture_effect"]
            what = f"moisture that the largest change feigns in {mass} g"
            self.sheet.step(what, "F", -100 * self.far / of_such, "%", gives=gives)

    def _rows_of_mean(self, share: Formula) -> list[Input]:
        rows = digitisation(self.inputs, "zero readings", root([formula(1), formula(-1)]))
        if any(row.source == "scatter between runs" for row in self.together.uncertainty.rows):
            degrees = formula(len(self.changes)) - 1
            basis = "JCGM 100:2008, 4.2.3"
            source = "scatter between runs"
            return [*rows, Input(source, "g", self.deviation, share, degrees, basis)]
        return [*rows, *scatter(self.inputs, share)]

    def _declared(self) -> None:
        at, instrument = "/results/declare", self.check.circumstances.instrument
        step = self.inputs.instrument("d", "scale_interval")
        what, gives = "bound on the change through a run", [f"{at}/hot_zero_drift"]
        self.sheet.step(what, "a", abs(self.far) + step, "g", gives=gives)
        parts = [
            abs(row.sensitivity) * row.uncertainty
            for row in self._rows_of_mean(sqrt(1 + formula(1) / len(self.changes)))
        ]
        what = "standard uncertainty of the mean as the change of one more run"
        single = self.sheet.step(what, "u", root(parts), "g")
        at = f"{at}/hot_zero_correction"
        stated = self.sheet.step(
            f"{what}, as it is stated",
            "u_stated",
            upwards(half_even(single, SETTLED_DIGITS), STATED_DIGITS),
            "g",
            gives=[f"{at}/standard_uncertainty"],
        )
        last = Decimal(1).scaleb(int(self.together.of_next_run.as_tuple().exponent))
        of = to_multiple(self.mean, formula(last))
        what = f"mean change to the last digit of {stated.text} g"
        self.sheet.step(what, "Delta_stated", of, "g", gives=[f"{at}/value"])
        if instrument.hot_zero_drift is not None:
            self._against_the_bound(self.inputs.instrument("a", "hot_zero_drift"))

    def _against_the_bound(self, bound: Figure) -> None:
        changes: list[Any] = list(self.changes)
        if self.check.circumstances.instrument.hot_zero_correction is not None:
            shift = self.inputs.instrument("Delta_0", "hot_zero_correction", "value")
            changes = [change - shift for change in changes]
        off = largest(*[abs(change) for change in changes])
        kept = ascending(off, bound)
        self.reasons.unless("hot-zero-drift-exceeded", kept, "/instrument/hot_zero_drift")
