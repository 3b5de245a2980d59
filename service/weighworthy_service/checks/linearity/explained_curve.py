"""Departures of a curve from its lines, and its hysteresis, reckoned by hand."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Any

from weighworthy_service.checks.explaining.errors import Share, error_inputs, net_weights
from weighworthy_service.checks.explaining.formula import Figure, Formula, formula
from weighworthy_service.checks.explaining.functions import total
from weighworthy_service.checks.explaining.inputs import Inputs
from weighworthy_service.checks.explaining.judging import Case, Places, explain_case
from weighworthy_service.checks.explaining.limits import Ground, is_limited
from weighworthy_service.checks.explaining.reasons import Reasons
from weighworthy_service.checks.explaining.sheet import Sheet
from weighworthy_service.checks.linearity.curve import LINES
from weighworthy_service.checks.linearity.explained_lines import EXPLAINED, ExplainedLine
from weighworthy_service.checks.outcome import Criterion, Evaluation
from weighworthy_service.checks.terms import Terms

_FIELDS = ("load", "value")


@dataclass(frozen=True, slots=True)
class Mean:
    """A mean error, what it is a mean of, and the load in g as the limits see it."""

    error: Figure
    mass: Figure
    reads: Sequence[tuple[str, tuple[str, ...]]]
    load: Figure
    nominal: Decimal

    @classmethod
    def of(
        cls,
        sheet: Sheet,
        where: str,
        *,
        errors: Sequence[Figure],
        masses: Sequence[Figure],
        reads: Sequence[tuple[str, tuple[str, ...]]],
        load: Figure,
        nominal: Decimal,
        gives: Sequence[str],
        of_mass: Sequence[str],
    ) -> "Mean":
        """Write the means down. `reads`: zero and weights of each point."""
        error = _mean(sheet, f"mean error {where}", "E", errors, gives)
        mass = _mean(sheet, f"mean mass {where}", "m", masses, of_mass)
        return cls(error, mass, reads, load, nominal)

    def shares(self, sensitivity: Formula) -> list[Share]:
        """What each of its points has in a sum in which the mean has this sensitivity."""
        n = len(self.reads)
        each = sensitivity if n == 1 else sensitivity / n
        return [Share(each, zero, load) for zero, load in self.reads]


@dataclass(frozen=True, slots=True)
class ExplainedCurve:
    """All that follows from the means of a curve, by ascending mass, without its zero."""

    inputs: Inputs
    terms: Terms
    evaluation: Evaluation
    means: Sequence[Mean]
    reasons: Reasons
    adjusted: bool

    def explain_lines(self) -> Iterator[Figure]:
        """Every departure from each line, and the criterion of the place that counts; verdicts."""
        for position, name in enumerate(LINES, 1):
            shown = self.evaluation.results["nonlinearity"][name]
            if shown is not None:
                yield from self._line(position, name, shown)

    def _line(self, position: int, name: str, shown: dict[str, Any]) -> Iterator[Figure]:
        sheet, criterion = self.inputs.sheet, self.evaluation.criteria[position]
        found = LINES[name](
            [Fraction(m.mass.number) for m in self.means],
            [Fraction(m.error.number) for m in self.means],
        )
        line: ExplainedLine = EXPLAINED[name](
            sheet, [m.mass for m in self.means], [m.error for m in self.means], found
        )
        at, places = f"/results/nonlinearity/{name}", [Decimal(0), *(m.nominal for m in self.means)]
        kept = [i for i in range(len(places)) if i not in found.fixed]
        words = name.replace("_", " ")
        for k, i in enumerate(kept):
            shows = [f"{at}/departures/{k}"]
            if places[i] == shown["load"]:
                shows.append(at)
            chosen = criterion.load == places[i]
            where = Places(
                f"/criteria/{position}" if chosen else None, [(s, _FIELDS) for s in shows]
            )
            load = self._load(i, *where.of("load"))
            what = f"departure at {load.text} g from the {words} line"
            value = sheet.step(what, "D", line.departure(i), "g", gives=where.of("value"))
            if chosen or self._voided(criterion):
                of_means = [(mean, line.sensitivity(i, j)) for j, mean in enumerate(self.means, 1)]
                yield from self._judge(position, what, value, load, of_means, nominal=places[i])

    def explain_hysteresis(self, turns: Sequence[tuple[Mean, Mean]]) -> Iterator[Figure]:
        """Mean down minus mean up, and the criterion of the place that counts; its verdict."""
        position = len(LINES) + 1
        criterion = self.evaluation.criteria[position]
        for k, (falling, rising) in enumerate(turns):
            chosen = criterion.load == falling.nominal
            where = Places(
                f"/criteria/{position}" if chosen else None, [(f"/results/hysteresis/{k}", _FIELDS)]
            )
            self.inputs.sheet.also(falling.load, *where.of("load"))
            what = f"hysteresis at {falling.load.text} g"
            of = falling.error.named("E_down") - rising.error.named("E_up")
            value = self.inputs.sheet.step(what, "H", of, "g", gives=where.of("value"))
            if chosen or self._voided(criterion):
                of_means = [(falling, formula(1)), (rising, formula(-1))]
                load = falling.load
                yield from self._judge(
                    position, what, value, load, of_means, nominal=falling.nominal
                )

    def _load(self, place: int, *gives: str) -> Figure:
        if not place:
            return self.inputs.sheet.step("zero load", "m_N", formula(0), "g", gives=gives)
        return self.inputs.sheet.also(self.means[place - 1].load, *gives)

    def _judge(
        self,
        position: int,
        what: str,
        value: Figure,
        load: Figure,
        of_means: Sequence[tuple[Mean, Formula]],
        *,
        nominal: Decimal,
    ) -> Iterator[Figure]:
        criterion = self.evaluation.criteria[position]
        chosen = criterion.load == nominal
        shares = [
            share
            for mean, sensitivity in of_means
            if sensitivity.number
            for share in mean.shares(sensitivity)
        ]
        rows = error_inputs(
            self.inputs, shares, self.terms.weights_correlation, adjusted=self.adjusted
        )
        in_force = self.terms.limits.get(criterion.name)
        here = Ground(self.inputs, load, nominal, "g")
        case = Case(
            criterion.name,
            what,
            value,
            rows,
            "g",
            in_force is not None and is_limited(in_force, here),
            load,
            nominal,
            criterion.key,
            "/points",
            net_weights(shares),
        )
        places = Places(f"/criteria/{position}" if chosen else None)
        said = explain_case(self.inputs, case, self.terms, places, self.reasons)
        if chosen and said.verdict is not None:
            yield said.verdict

    def _voided(self, criterion: Criterion) -> bool:
        """Whether a place, which need not be the one that is shown, voids the check."""
        return any(
            finding.severity in ("void", "no-pass")
            and finding.message.startswith(f"{criterion.key}: ")
            for finding in self.evaluation.findings
        )


def _mean(
    sheet: Sheet, what: str, symbol: str, of: Sequence[Figure], gives: Sequence[str]
) -> Figure:
    if len(of) == 1:
        return sheet.also(of[0], *gives)
    return sheet.step(what, symbol, total([*of]) / len(of), "g", gives=gives)
