"""An eccentricity check reckoned by hand: net indications, centre, differences, errors, verdict."""

from collections.abc import Iterator, Sequence
from decimal import Decimal
from functools import partial
from typing import Any

from weighworthy_service.checks.eccentricity.check import EccentricityCheck
from weighworthy_service.checks.eccentricity.evaluation import HANDED_ON_DIGITS
from weighworthy_service.checks.eccentricity.places import Pan, Place
from weighworthy_service.checks.eccentricity.remarks import LEAST_SHARE, MOST_SHARE
from weighworthy_service.checks.eccentricity.reveals import OWN
from weighworthy_service.checks.explaining.budget import (
    Input,
    alike,
    digitisation,
    reckon,
    root,
    scatter,
    times,
)
from weighworthy_service.checks.explaining.concluding import conclude
from weighworthy_service.checks.explaining.formula import Figure, Formula, formula
from weighworthy_service.checks.explaining.functions import ascending, total, upwards
from weighworthy_service.checks.explaining.inputs import Inputs
from weighworthy_service.checks.explaining.judging import Case, Explained, Places, explain_case
from weighworthy_service.checks.explaining.placings import explain_net
from weighworthy_service.checks.explaining.reasons import Reasons
from weighworthy_service.checks.explaining.sheet import Sheet, Step
from weighworthy_service.checks.explaining.shows import explain_smallest, threshold_of
from weighworthy_service.checks.explaining.weights import (
    buoyancy_inputs,
    own_uncertainty,
    weight_inputs,
)
from weighworthy_service.checks.outcome import Evaluation
from weighworthy_service.checks.placings import is_valued
from weighworthy_service.checks.terms import Terms

_SHOWN = ("expanded_uncertainty", "lower_limit", "upper_limit", "margin", "verdict")
# What a reading is multiplied by in a sum, and the placing whose zero it is read against.
_Read = tuple[Formula, int | None]


def explain(check: EccentricityCheck, terms: Terms, evaluation: Evaluation) -> Sequence[Step]:
    """The sheet of one evaluated check."""
    return _Explaining(check, terms, evaluation).steps()


class _Explaining:
    def __init__(self, check: EccentricityCheck, terms: Terms, evaluation: Evaluation) -> None:
        self.sheet = Sheet()
        self.inputs = Inputs(self.sheet, check.circumstances)
        self.check, self.terms, self.evaluation = check, terms, evaluation
        self.reasons = Reasons(self.inputs, evaluation.findings)
        self.pan, self.nominal = Pan(check), check.circumstances.nominal(check.load)
        self.valued = is_valued(check.circumstances, check.load)

    def steps(self) -> Sequence[Step]:
        places = ("/results/load", "/criteria/0/load")
        shown = ("/criteria/1/load",) if self.valued else ()
        self.load = self.inputs.nominal(self.check.load, *places, *shown)
        of_one = partial(explain_net, self.inputs, self.reasons, self.check.placings, self.load)
        self.nets = [of_one(net) for net in self.pan.nets]
        centre = self._mean(self.pan.centre, "/results/centre/net")
        for i, x in enumerate(self.nets):
            gives = [f"/results/placings/{i}/difference"]
            what = f"difference of placing {i} to the centre"
            self.sheet.step(what, "D_i", x - centre, "g", gives=gives)
        verdicts = [*self._differences(centre), *self._errors()]
        self._change()
        self._share_of_capacity()
        self.reasons.of_the_sitting(self.check.load, self.terms)
        conclude(self.sheet, verdicts, self.evaluation)
        return self.sheet.steps

    def _mean(self, place: Place, *gives: str) -> Figure:
        of = [self.nets[net.index] for net in place.nets]
        if len(of) == 1:
            return self.sheet.also(of[0], *gives)
        what = f"mean net indication at {place.position}"
        return self.sheet.step(what, "x_mean", total([*of]) / len(of), "g", gives=gives)

    def _differences(self, centre: Figure) -> Iterator[Figure]:
        far = self.evaluation.results["largest_difference"]
        for k, place in enumerate(self.pan.off):
            at = f"/results/positions/{k}"
            chosen = self.evaluation.criteria[0].index == place.index
            where = Places("/criteria/0" if chosen else None, [(at, ("difference", *_SHOWN))])
            net = self._mean(place, f"{at}/net")
            gives = [f"{at}/difference", *(["/criteria/0/value"] if chosen else [])]
            largest = place.position == far["position"]
            if largest:
                gives.append("/results/largest_difference/value")
            what = f"difference at {place.position}"
            value = self.sheet.step(what, "D", net - centre, "g", gives=gives)
            if largest:
                self._handed_on(value)
            reads = [*self._reads(place, 1), *self._reads(self.pan.centre, -1)]
            judged = self.evaluation.results["positions"][k]["verdict"] is not None
            rows = [*self._readings(reads), *self._cancelled()]
            said = self._judge(0, what, value, rows, where, placing=place.index, judged=judged)
            if chosen:
                self._shows(said)
                yield from [said.verdict] if said.verdict is not None else []

    def _reads(self, place: Place, sign: int) -> list[_Read]:
        n = len(place.nets)
        each = formula(sign) if n == 1 else formula(sign) / n
        return [(each, net.zero) for net in place.nets]

    def _readings(self, reads: Sequence[_Read]) -> list[Input]:
        """Rounding of loads and zeros, and scatter."""
        zeros: dict[int, list[Formula]] = {}
        for c, zero in reads:
            if zero is not None:
                zeros.setdefault(zero, []).append(c)
        of_loads = root([c for c, _ in reads])
        of_zeros = root(
            [-total([times(n, c) for c, n in alike(parts)]) for parts in zeros.values()]
        )
        return [
            *digitisation(self.inputs, "loaded readings", of_loads),
            *digitisation(self.inputs, "zero readings", of_zeros),
            *scatter(self.inputs, of_loads),
        ]

    def _cancelled(self) -> list[Input]:
        if not self.valued:
            return []
        weights = self.check.circumstances.on(self.check.load)
        u = total([own_uncertainty(self.inputs, weight) for weight in weights])
        return [Input(f"reference weights {', '.join(self.check.load)}", "g", u, formula(0))]

    def _errors(self) -> Iterator[Figure]:
        if not self.valued:
            return
        mass = self.inputs.mass(self.check.load)
        weights: dict[str, Formula] = {name: -formula(1) for name in self.check.load}
        adjusted = self.check.circumstances.occasion == "after-adjustment"
        for net, x in zip(self.pan.nets, self.nets, strict=True):
            i, at = net.index, f"/results/placings/{net.index}"
            chosen = self.evaluation.criteria[1].index == i
            where = Places("/criteria/1" if chosen else None, [(at, ("error", *_SHOWN))])
            gives = [f"{at}/error", *(["/criteria/1/value"] if chosen else [])]
            what = f"error of placing {i}"
            error = self.sheet.step(what, "E", x - mass, "g", gives=gives)
            rows = [
                *self._readings([(formula(1), net.zero)]),
                *weight_inputs(self.inputs, weights, self.terms.weights_correlation, "g"),
                *buoyancy_inputs(self.inputs, weights, adjusted=adjusted),
            ]
            judged = self.evaluation.results["placings"][i]["verdict"] is not None
            more = {"placing": i, "judged": judged, "weights": weights}
            said = self._judge(1, what, error, rows, where, **more)
            if chosen and said.verdict is not None:
                yield said.verdict

    def _judge(
        self,
        position: int,
        what: str,
        value: Figure,
        rows: Sequence[Input],
        where: Places,
        **more: Any,
    ) -> Explained:
        criterion, placing = self.evaluation.criteria[position], more.pop("placing")
        case = Case(
            criterion.name,
            what,
            value,
            rows,
            "g",
            load=self.load,
            nominal=self.nominal,
            key=criterion.key,
            place=f"/placings/{placing}",
            **more,
        )
        return explain_case(self.inputs, case, self.terms, where, self.reasons)

    def _shows(self, said: Explained) -> None:
        line = self.evaluation.results["reveals"][0]
        self.sheet.step(
            "sensitivity to what is off the centre",
            "c",
            formula(1),
            "1",
            gives=["/results/reveals/0/sensitivity"],
        )
        if said.limited is not None and line["smallest"] is not None:
            least = threshold_of(self.inputs, said.found, said.limited, own=OWN, unit="g")
            explain_smallest(self.inputs, "off-centre", least, "g", "/results/reveals/0")

    def _handed_on(self, value: Figure) -> None:
        gives = ["/results/largest_difference/share_of_load"]
        self.sheet.step("its share of the load", "share", 100 * value / self.load, "%", gives=gives)
        text = self.evaluation.results["declare"]["instrument"]["eccentricity"]["difference"]
        number, _, unit = text.partition(" ")
        per_gram = {"g": 1, "mg": 1000, "ug": 1_000_000}[unit]
        of = per_gram * upwards(abs(value), HANDED_ON_DIGITS)
        # Of a difference that a request can write no finer, more was rounded up.
        if of.number == Decimal(number):
            gives = ["/results/declare/instrument/eccentricity/difference"]
            self.sheet.step("eccentricity to be stated", "D_stated", of, unit, gives=gives)

    def _change(self) -> None:
        if self.pan.change is None:
            return
        first, last = self.pan.centre.nets[0], self.pan.centre.nets[-1]
        value = self.sheet.step(
            "change of the centre",
            "change",
            self.nets[last.index] - self.nets[first.index],
            "g",
            gives=["/results/centre/change"],
        )
        reads = [(formula(1), last.zero), (formula(-1), first.zero)]
        gives = "/results/centre/expanded_uncertainty"
        rows, decision = self._readings(reads), self.terms.decision
        found = reckon(self.sheet, rows, "g", decision, None, gives)
        self.reasons.unless("centre-moved", ascending(abs(value), found.expanded), "/placings")

    def _share_of_capacity(self) -> None:
        if self.check.circumstances.instrument.capacity is not None:
            most = self.inputs.instrument("Max", "capacity")
            least, largest = (
                formula(share.numerator) / share.denominator * most
                for share in (LEAST_SHARE, MOST_SHARE)
            )
            usual = ascending(least, self.load, largest)
            self.reasons.unless("load-far-from-third", usual, "/load")
