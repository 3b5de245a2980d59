"""A heater check reckoned by hand: every set point with its budget, and what they come to."""

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

from weighworthy_service.checks.explaining.budget import Input
from weighworthy_service.checks.explaining.concluding import conclude
from weighworthy_service.checks.explaining.formula import Figure, Formula, formula, stated
from weighworthy_service.checks.explaining.functions import (
    ascending,
    both,
    largest,
    quantile,
    sqrt,
    total,
)
from weighworthy_service.checks.explaining.inputs import Inputs, reading
from weighworthy_service.checks.explaining.judging import Case, Explained, Places, explain_case
from weighworthy_service.checks.explaining.reasons import Reasons
from weighworthy_service.checks.explaining.sheet import Sheet, Step
from weighworthy_service.checks.explaining.shows import explain_smallest
from weighworthy_service.checks.heater.chamber import SetPointRead
from weighworthy_service.checks.heater.check import HeaterCheck
from weighworthy_service.checks.heater.evaluation import (
    CRITERIA,
    DISPLAY_ERROR,
    SETTLING_TIME,
    TEMPERATURE_ERROR,
    TEMPERATURE_SPREAD,
)
from weighworthy_service.checks.heater.explained_readings import Explained as Readings
from weighworthy_service.checks.heater.explained_readings import explain_readings
from weighworthy_service.checks.heater.remarks import DRIFT_LEVEL
from weighworthy_service.checks.outcome import CriterionName, Evaluation
from weighworthy_service.checks.shows import PROBABILITY
from weighworthy_service.checks.terms import Terms

_STEP = "JCGM 100:2008, F.2.2.1"
_BOUND = "a bound as a rectangle: JCGM 100:2008, 4.3.7"
_SHOWN_OF_POINTS = (
    "expanded_uncertainty",
    "lower_limit",
    "upper_limit",
    "margin",
    "verdict",
)


def explain(check: HeaterCheck, terms: Terms, evaluation: Evaluation) -> Sequence[Step]:
    """The sheet of one evaluated check."""
    return _Explaining(check, terms, evaluation).steps()


class _Explaining:
    def __init__(self, check: HeaterCheck, terms: Terms, evaluation: Evaluation) -> None:
        self.sheet = Sheet()
        self.inputs = Inputs(self.sheet, check.circumstances)
        self.check, self.terms, self.evaluation = check, terms, evaluation
        self.reasons = Reasons(self.inputs, evaluation.findings)
        self.chosen: dict[CriterionName, Explained] = {}
        self.errors: list[tuple[Figure, Figure]] = []

    def steps(self) -> Sequence[Step]:
        for i in range(len(self.check.set_points)):
            self._set_point(SetPointRead(self.check, i))
        self._line()
        self._reveals()
        self.reasons.of_the_sitting((), self.terms)
        said = [self.chosen[name].verdict for name in CRITERIA if name in self.chosen]
        verdicts = [verdict for verdict in said if verdict is not None]
        conclude(self.sheet, verdicts, self.evaluation)
        return self.sheet.steps

    def _set_point(self, p: SetPointRead) -> None:
        at, sheet = f"/results/set_points/{p.index}", self.sheet
        wanted = reading("S", p.point.set, "set_points", p.index, "set")
        gives = [f"{at}/set"]
        set_ = sheet.step(f"set temperature {p.index}", "S", wanted, "Cel", gives=gives)
        found = explain_readings(sheet, self.check.probe, p)
        self._reasons(p, found)
        if found.temperature is not None:
            what, gives = f"error of set point {p.index}", [f"{at}/error"]
            error = sheet.step(what, "E", found.temperature - set_, "K", gives=gives)
            self.errors.append((set_, error))
            self._judge(TEMPERATURE_ERROR, p, what, error, self._probe_rows(p, found, 1))
        self._settling(p, found)
        if found.spread is not None:
            rows = [self._digitised(sqrt(formula(2)))]
            what = f"spread of set point {p.index}"
            self._judge(TEMPERATURE_SPREAD, p, what, found.spread, rows)
        if found.temperature is not None and p.point.displayed is not None:
            shown = reading("D", p.point.displayed, "set_points", p.index, "displayed")
            what, gives = f"error of the display of set point {p.index}", [f"{at}/display_error"]
            off = sheet.step(what, "E_D", shown - found.temperature, "K", gives=gives)
            rows = self._probe_rows(p, found, -1)
            if self.check.display_interval is not None:
                d = stated("d", self.check.display_interval, "request /display_interval")
                source = "digitisation of the display"
                rows.append(Input(source, "K", d / sqrt(formula(12)), formula(1), basis=_STEP))
            self._judge(DISPLAY_ERROR, p, what, off, rows)

    def _probe_rows(self, p: SetPointRead, found: Readings, sign: int) -> list[Input]:
        """As the engine has them; in the error of a display the probe has the other sign."""
        probe, way = self.check.probe, formula(sign)
        acting = way * (1 + found.slope)
        rows = [self._digitised(acting)]
        if found.scatter is not None and found.scatter.number:
            u, degrees = found.scatter / sqrt(formula(p.count)), formula(p.count) - 1
            source, basis = "scatter of the mean", "JCGM 100:2008, 4.2.3"
            rows.append(Input(source, "K", u, acting, degrees, basis))
        factor: Formula = formula(2)
        if probe.coverage_factor is not None:
            factor = self._of_probe("k", probe.coverage_factor, "coverage_factor")
        u = self._of_probe("U", probe.expanded_uncertainty, "expanded_uncertainty") / factor
        basis = "JCGM 100:2008, 4.3.3"
        rows.append(Input("certificate of the probe", "K", u, way, basis=basis))
        bounds: list[tuple[str, Formula]] = []
        if probe.drift:
            bounds.append(("drift of the probe", self._of_probe("D", probe.drift, "drift")))
        if probe.immersion_allowance:
            a = self._of_probe("a", probe.immersion_allowance, "immersion_allowance")
            bounds.append(("immersion of the probe", a))
        if found.doubt is not None:
            bounds.append(("interpolation of corrections", found.doubt))
        for source, half_width in bounds:
            rows.append(Input(source, "K", half_width / sqrt(formula(3)), way, basis=_BOUND))
        return rows

    def _digitised(self, acting: Formula) -> Input:
        u = self._of_probe("r", self.check.probe.interval, "interval") / sqrt(formula(12))
        return Input("digitisation of the probe", "K", u, acting, basis=_STEP)

    def _of_probe(self, symbol: str, value: Decimal, name: str) -> Figure:
        return stated(symbol, value, f"request /probe/{name}")

    def _settling(self, p: SetPointRead, found: Readings) -> None:
        settling = p.settling
        if settling is None:
            return
        gives = [f"/results/set_points/{p.index}/settling_time"]
        if settling.position is None:
            assert self.check.time_step is not None  # noqa: S101  stated times have one
            time = reading("t", settling.time, "set_points", p.index, "settled_after")
            step = stated("step", self.check.time_step, "request /time_step")
            u = step / sqrt(formula(12))
            row = Input("digitisation of the time", "s", u, formula(1), basis=_STEP)
        else:
            before, first = settling.position - 1, settling.position
            series, path = p.point.series, ("set_points", p.index, "series")
            time = reading("t", series[first].at, *path, first, "at")
            last = reading("t", series[before].at, *path, before, "at")
            outside = reading("T", series[before].temperature, *path, before, "temperature")
            what = f"departure of the last reading outside the band, of set point {p.index}"
            self.sheet.step(what, "off", abs(outside - found.mean), "K")
            u = (time - last) / sqrt(formula(3))
            row = Input("time between readings", "s", u, formula(1), basis=_BOUND)
        what = f"settling time of set point {p.index}"
        settled = self.sheet.step(what, "t_s", time, "s", gives=gives)
        self._judge(SETTLING_TIME, p, what, settled, [row])

    def _judge(
        self, name: CriterionName, p: SetPointRead, what: str, value: Figure, rows: list[Input]
    ) -> None:
        position = CRITERIA.index(name)
        criterion = self.evaluation.criteria[position]
        chosen = criterion.index == p.index
        others: list[tuple[str, Sequence[str]]] = []
        if name == TEMPERATURE_ERROR:
            others = [(f"/results/set_points/{p.index}", _SHOWN_OF_POINTS)]
        places = Places(f"/criteria/{position}" if chosen else None, others)
        self.sheet.also(value, *places.of("value")[: 1 if chosen else 0])
        case = Case(
            name.name,
            what,
            value,
            rows,
            name.unit,
            # A limit that one set point has all have: it rests on nothing that differs.
            criterion.verdict is not None,
            key=name.name,
            place=f"/set_points/{p.index}",
        )
        said = explain_case(self.inputs, case, self.terms, places, self.reasons)
        if chosen:
            self.chosen[name] = said

    def _reasons(self, p: SetPointRead, found: Readings) -> None:
        field, probe = f"/set_points/{p.index}/readings", self.check.probe
        if p.band is not None:
            band = stated("band", p.band, "request /settled_within")
            self.reasons.unless("not-settled", ascending(found.off_most, band), field)
        if probe.corrections:
            ends = [
                stated("a", probe.corrections[k].at, f"request /probe/corrections/{k}/at")
                for k in (0, len(probe.corrections) - 1)
            ]
            reached = ascending(ends[0], found.mean, ends[1])
            self.reasons.unless("outside-certificate", reached, field)
        if found.change is not None and found.change_u is not None:
            level = formula((1 + Decimal(repr(DRIFT_LEVEL))) / 2)
            least = quantile(level, formula(p.count) - 2) * found.change_u
            step = self._of_probe("r", probe.interval, "interval")
            moves = both(ascending(step, abs(found.change)), ascending(least, abs(found.change)))
            self.reasons.when("still-drifting", moves, field)

    def _line(self) -> None:
        line: Mapping[str, Any] | None = self.evaluation.results["line"]
        if line is None:
            return
        sheet, n = self.sheet, len(self.errors)
        sets, errors = [s for s, _ in self.errors], [e for _, e in self.errors]
        middle = sheet.step("mean of the set temperatures", "S_mean", total([*sets]) / n, "Cel")
        at_middle = sheet.step("mean of the errors", "E_mean", total([*errors]) / n, "K")
        products = total([(s - middle) * e for s, e in self.errors])
        squares = total([(s - middle) ** 2 for s in sets])
        gives, source = ["/results/line/slope"], "least squares: JCGM 100:2008, H.3"
        what = "slope of the errors over temperature"
        slope = sheet.step(what, "b", products / squares, "K/K", gives=gives, source=source)
        for k, end in enumerate(line["ends"]):
            at = f"/results/line/ends/{k}"
            here = next(s for s in sets if s.number == end["set"])
            sheet.also(here, f"{at}/set")
            of = at_middle + slope * (here - middle)
            what = f"error on the line at {here.text} Cel"
            sheet.step(what, "E_line", of, "K", gives=[f"{at}/error"])

    def _reveals(self) -> None:
        """The smallest error that shows: A + t·u at the set point that decides."""
        if self.evaluation.results["reveals"][0]["smallest"] is None:
            return
        said, at = self.chosen[TEMPERATURE_ERROR], "/results/reveals/0"
        assert said.limited is not None  # noqa: S101  a size comes from a limit
        guard, (lower, upper) = said.limited.guard, said.limited.limits
        sides: list[Formula] = [formula(0)]
        if upper is not None:
            sides.append(upper if guard is None else upper - guard)
        if lower is not None:
            sides.append(-lower if guard is None else -(lower + guard))
        what = "acceptance limit farther from zero"
        accepted = self.sheet.step(what, "A", largest(*sides), "K")
        t = quantile(formula(Decimal(repr(PROBABILITY))), said.found.degrees)
        least = accepted + t * said.found.standard
        explain_smallest(self.inputs, "error of temperature", least, "K", at)
