"""A check as it stands on paper, from its answer and, where it is at hand, its request."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

from weighworthy_service.evidence.reports.asked_view import (
    balance_facts,
    facts,
    readings,
    weights,
)
from weighworthy_service.evidence.reports.blind import blind, cautions
from weighworthy_service.evidence.reports.criteria_view import (
    about,
    budgets,
    criterion_view,
    title_of,
)
from weighworthy_service.evidence.reports.figures import decimal, small, to_digits
from weighworthy_service.evidence.reports.linearity_plot import linearity_plot
from weighworthy_service.evidence.reports.loss_plot import loss_plot
from weighworthy_service.evidence.reports.sentences import sentence
from weighworthy_service.evidence.reports.terms import KINDS, SEVERITIES, called
from weighworthy_service.evidence.reports.words import Words, marked
from weighworthy_service.metrology.budget import stated

Data = Mapping[str, Any]

_PLOTS: Final = {"linearity": linearity_plot, "simulated-loss": loss_plot}
_USE: Final = {
    True: marked("The balance may be used under this profile."),
    False: marked("The balance must not be used under this profile."),
    None: marked("Nothing could be judged: this says nothing on the use of the balance."),
}


def check_view(words: Words, answer: Data, request: Data | None) -> dict[str, Any]:
    """All that the page shows, in its order."""
    criteria = answer["criteria"]
    with_value = [criterion for criterion in criteria if criterion["value"] is not None]
    judged = [criterion for criterion in with_value if criterion["verdict"] is not None]
    plot = _PLOTS.get(answer["check"])
    balance = (request or {}).get("instrument") or {}
    return {
        "answer": answer,
        "kind": called(words, KINDS, answer["check"]),
        "balance": {name: balance.get(name) for name in ("id", "model", "site")},
        "use": words.text(_USE[answer["usable"]]),
        "stages": list(_stages(words, answer)),
        "decided": _decided(words, answer, judged),
        "facts": list(facts(words, request)) if request else [],
        "balance_facts": list(balance_facts(words, request)) if request else [],
        "weights": weights(words, request) if request else None,
        "readings": readings(words, request, answer["results"]) if request else [],
        "results": list(_results(words, answer["results"])),
        "criteria": [criterion_view(words, criterion) for criterion in judged],
        "unjudged": [
            criterion_view(words, criterion)
            for criterion in with_value
            if criterion["verdict"] is None
        ],
        "missing": [
            ", ".join(filter(None, (title_of(words, criterion), about(words, criterion))))
            for criterion in criteria
            if criterion["value"] is None
        ],
        "plot": None if plot is None else plot(words, answer, request),
        "budgets": budgets(words, criteria),
        "blind": blind(words, answer),
        "reveals": list(_reveals(words, answer["results"].get("reveals") or [])),
        "findings": findings(words, answer["findings"]),
        "cautions": cautions(words, answer["check"]),
    }


def findings(words: Words, found: Sequence[Data]) -> list[dict[str, Any]]:
    """Findings with the word for their severity."""
    return [
        {
            "severity": one["severity"],
            "word": called(words, SEVERITIES, one["severity"]),
            "text": sentence(one["message"], words.language),
            "code": one["code"],
            "field": one["field"],
        }
        for one in found
    ]


def _stages(words: Words, answer: Data) -> Iterator[tuple[str, str]]:
    """Verdicts beside the one of the check, where they differ from it."""
    for name, title in (
        ("verdict_as_found", words.text("As found")),
        ("verdict_as_left", words.text("As left")),
        ("verdict_if_valid", words.text("If it were valid")),
    ):
        if answer[name] is not None and answer[name] != answer["verdict"]:
            yield title, answer[name]


def _decided(words: Words, answer: Data, judged: Sequence[Data]) -> dict[str, Any] | None:
    """The criterion that has the verdict of the check; of several that with the least room."""
    deciding = answer["verdict_if_valid"] if answer["verdict"] == "void" else answer["verdict"]
    alike = [criterion for criterion in judged if criterion["verdict"] == deciding]
    # What was found before an adjustment does not decide about the state after it.
    if answer["verdict_as_found"] != answer["verdict_as_left"]:
        alike = [c for c in alike if c["stage"] != "as-found"] or alike
    if not alike:
        return None
    return criterion_view(words, min(alike, key=_room))


def _room(criterion: Data) -> float:
    room = criterion["margin"] if criterion["margin"] is not None else criterion["distance"]
    return float(room or 0)


def _reveals(words: Words, lines: Sequence[Data]) -> Iterator[dict[str, str]]:
    """What would show from a size on, rounded up as the sentence beside it has it."""
    for line in lines:
        if line["smallest"] is not None:
            unit, power = small(line["unit"] or "")
            size = words.number(stated(line["smallest"]).scaleb(power))
            size += "" if unit in ("1", "") else f"\N{NO-BREAK SPACE}{unit}"
            yield {"text": sentence(line["message"], words.language), "size": size}


def _results(words: Words, results: Data) -> Iterator[tuple[str, str]]:
    """Losses that were found and expected."""
    for name in ("loss", "expected_loss", "displayed_loss", "loss_from_masses"):
        if isinstance(value := results.get(name), float | int):
            text = words.number(to_digits(decimal(value) or decimal(0.0), 7))  # type: ignore[arg-type]
            yield name, f"{text}\N{NO-BREAK SPACE}%"
