"""A span check reckoned by hand: errors, zero returns and agreements with all that judges them."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from weighworthy_service.checks.explaining.budget import Input, digitisation, root, scatter
from weighworthy_service.checks.explaining.concluding import explain_verdict
from weighworthy_service.checks.explaining.errors import Share, error_inputs, net_weights, one_error
from weighworthy_service.checks.explaining.formula import Figure, formula
from weighworthy_service.checks.explaining.inputs import Inputs, reading
from weighworthy_service.checks.explaining.judging import Case, Places, explain_case
from weighworthy_service.checks.explaining.reasons import Reasons
from weighworthy_service.checks.explaining.sheet import Sheet, Step
from weighworthy_service.checks.outcome import Criterion, Evaluation
from weighworthy_service.checks.span.check import SpanCheck
from weighworthy_service.checks.span.rounds import RoundRead
from weighworthy_service.checks.span.stages import stretches
from weighworthy_service.checks.terms import Terms


def explain(check: SpanCheck, terms: Terms, evaluation: Evaluation) -> Sequence[Step]:
    """The sheet of one evaluated check."""
    return _Explaining(check, terms, evaluation).steps()


class _Explaining:
    def __init__(self, check: SpanCheck, terms: Terms, evaluation: Evaluation) -> None:
        self.sheet = Sheet()
        self.inputs = Inputs(self.sheet, check.circumstances)
        self.check, self.terms, self.evaluation = check, terms, evaluation
        self.errors: dict[int, Figure] = {}
        self.verdicts: list[tuple[Figure, set[int]]] = []
        self.reasons = Reasons(self.inputs, evaluation.findings)
        judged = [i for i, r in enumerate(check.rounds) if r.stage != "adjustment"]
        self.rounds = [RoundRead(check, i) for i in judged]

    def steps(self) -> Sequence[Step]:
        for position, r in enumerate(self.rounds):
            self._error(position, r)
        for position, r in enumerate(self.rounds):
            if r.round.zero_after is not None:
                self._zero_return(position, r)
        self._agreements()
        self._change()
        used = [name for r in self.rounds for name in r.round.load]
        self.reasons.of_the_sitting(used, self.terms)
        self._conclude()
        return self.sheet.steps

    def _zero(self, r: RoundRead) -> Figure:
        return reading("Z", r.zero, "rounds", r.index, "zero")

    def _error(self, position: int, r: RoundRead) -> None:
        at, criterion = f"/results/rounds/{position}", self.evaluation.criteria[position]
        names = r.round.load
        load = self.inputs.nominal(names, f"/criteria/{position}/load", f"{at}/load")
        mass = self.inputs.mass(names, f"{at}/mass")
        indication = reading("I", r.indication, "rounds", r.index, "indication")
        self.reasons.of_a_reading(self._zero(r), f"/rounds/{r.index}/zero")
        self.reasons.of_a_reading(indication, f"/rounds/{r.index}/indication")
        what = f"error of indication of round {r.index}"
        gives = [f"/criteria/{position}/value", f"{at}/error"]
        of = indication - self._zero(r) - mass
        self.errors[r.index] = self.sheet.step(what, "E", of, "g", gives=gives)
        of_stage = self.terms.at(r.round.stage)
        shares = one_error(f"zero {r.index}", names)
        correlation = of_stage.weights_correlation
        rows = error_inputs(self.inputs, shares, correlation, adjusted=r.adjusted)
        case = replace(
            _case(criterion, what, self.errors[r.index], rows, load),
            place=f"/rounds/{r.index}",
            weights=net_weights(shares),
        )
        self._judge(case, of_stage, Places(f"/criteria/{position}"), {r.index})

    def _zero_return(self, position: int, r: RoundRead) -> None:
        at, place = f"/results/rounds/{position}", len(self.rounds) + position
        assert r.round.zero_after is not None  # noqa: S101  only of rounds that have one
        after = reading("Z_after", r.round.zero_after, "rounds", r.index, "zero_after")
        self.reasons.of_a_reading(after, f"/rounds/{r.index}/zero_after")
        what = f"zero return of round {r.index}"
        gives = [f"/criteria/{place}/value", f"{at}/zero_return"]
        back = self.sheet.step(what, "R", after - self._zero(r), "g", gives=gives)
        against = f"error of round {r.index} against the mean of both zeros"
        of = self.errors[r.index] - back / 2
        self.sheet.step(against, "E_mean", of, "g", gives=[f"{at}/error_mean_zero"])
        rows = [
            *digitisation(self.inputs, "zero readings", root([formula(1), formula(-1)])),
            *scatter(self.inputs, formula(1)),
        ]
        case = replace(
            _case(self.evaluation.criteria[place], what, back, rows, None),
            place=f"/rounds/{r.index}/zero_after",
        )
        of_stage = self.terms.at(r.round.stage)
        self._judge(case, of_stage, Places(f"/criteria/{place}"), {r.index})

    def _agreements(self) -> None:
        place = 2 * len(self.rounds)
        criterion = self.evaluation.criteria[place]
        groups: Sequence[Mapping[str, Any]] = self.evaluation.results["agreements"]
        members = [[r for r in self.rounds if r.index in group["rounds"]] for group in groups]
        # The criterion is that of the first group that is like it.
        chosen = next(
            (
                k
                for k, (group, of) in enumerate(zip(groups, members, strict=True))
                if (group["load"], group["value"], group["verdict"], of[-1].round.stage)
                == (criterion.load, criterion.value, criterion.verdict, criterion.stage)
            ),
            None,
        )
        for k, (group, of) in enumerate(zip(groups, members, strict=True)):
            shown = [(f"/results/agreements/{k}", ("load", "value", "verdict"))]
            self._agreement(
                of, group, criterion, Places(f"/criteria/{place}" if k == chosen else None, shown)
            )

    def _agreement(
        self,
        members: Sequence[RoundRead],
        group: Mapping[str, Any],
        criterion: Criterion,
        places: Places,
    ) -> None:
        high = max(members, key=lambda r: r.error)
        low = min(members, key=lambda r: r.error)
        if high is low:  # all errors equal: the two ends are any two rounds
            low = members[1]
        what = f"agreement of rounds {', '.join(str(r.index) for r in members)}"
        apart = self.errors[high.index] - self.errors[low.index]
        value = self.sheet.step(what, "A", apart, "g", gives=places.of("value"))
        load = self.inputs.nominal(high.round.load, *places.of("load"))
        shares = [
            Share(formula(sign), f"zero {r.index}", r.round.load)
            for sign, r in ((1, high), (-1, low))
        ]
        of_stage = self.terms.at(members[-1].round.stage)
        correlation = of_stage.weights_correlation
        rows = error_inputs(self.inputs, shares, correlation, adjusted=high.adjusted)
        judged = group["verdict"] is not None
        case = replace(
            _case(criterion, what, value, rows, load),
            judged=judged,
            nominal=group["load"],
            place="/rounds",
            weights=net_weights(shares),
        )
        self._judge(case, of_stage, places, {r.index for r in members})

    def _judge(self, case: Case, terms: Terms, places: Places, rounds: set[int]) -> None:
        said = explain_case(self.inputs, case, terms, places, self.reasons)
        if said.verdict is not None:
            self.verdicts.append((said.verdict, rounds))

    def _conclude(self) -> None:
        """What the rounds say as found, and what they say as left, which then is the verdict."""
        said = self.evaluation
        before, after = stretches(self.check.rounds)
        whole = {r.index for r in self.rounds}
        found_if_valid: str | None = "/results/verdict_as_found_if_valid"
        if said.results["verdict_as_found_if_valid"] is None:
            found_if_valid = None
        of_whole = ["/verdict", "/verdict_as_left"] if after else ["/verdict"]
        for what, group, verdict, gives, if_valid in (
            ("as found", before, said.verdict_as_found, ["/verdict_as_found"], found_if_valid),
            ("of the check", after or whole, said.verdict, of_whole, "/verdict_if_valid"),
        ):
            verdicts = [figure for figure, rounds in self.verdicts if rounds & group]
            explain_verdict(
                self.sheet, f"verdict {what}", verdicts, verdict, gives=gives, if_valid=if_valid
            )

    def _change(self) -> None:
        changed = self.evaluation.results["change_by_adjustment"]
        if changed is None:
            return
        at = "/results/change_by_adjustment"
        before, after = changed["from"], changed["to"]
        of = self.errors[after] - self.errors[before]
        what = "change by the adjustment"
        self.sheet.step(what, "change", of, "g", gives=[f"{at}/change"])
        self.inputs.nominal(self.check.rounds[after].load, f"{at}/load")


def _case(
    criterion: Criterion, what: str, value: Figure, rows: Sequence[Input], load: Figure | None
) -> Case:
    judged = criterion.lower_limit is not None or criterion.upper_limit is not None
    return Case(criterion.name, what, value, rows, "g", judged, load, criterion.load, criterion.key)
