"""A check as it stands on paper, from its answer and, where it is at hand, its request."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

from weighworthy_service.checks.pages import marked
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
from weighworthy_service.evidence.reports.of_kind import DIGITS, OfKind, figure_text, kind_name
from weighworthy_service.evidence.reports.plot_of import plot_of
from weighworthy_service.evidence.reports.sentences import sentence
from weighworthy_service.evidence.reports.terms import SEVERITIES, called
from weighworthy_service.evidence.reports.words import Words
from weighworthy_service.metrology.budget import stated

Data = Mapping[str, Any]

USE: Final = {
    True: marked("The balance may be used under this profile."),
    False: marked("The balance must not be used under this profile."),
    None: marked("Nothing could be judged: this says nothing on the use of the balance."),
}


def check_view(words: Words, answer: Data, request: Data | None) -> dict[str, Any]:
    """All that the page shows, in its order."""
    criteria = answer["criteria"]
    with_value = [criterion for criterion in criteria if criterion["value"] is not None]
    judged = [criterion for criterion in with_value if criterion["verdict"] is not None]
    of = OfKind(words, answer["check"])
    balance = (request or {}).get("instrument") or {}
    return {
        "answer": answer,
        "kind": kind_name(words, answer["check"]),
        "balance": {name: balance.get(name) for name in ("id", "model", "site")},
        "use": words.text(USE[answer["usable"]]),
        "stages": list(_stages(words, answer)),
        "decided": _decided(words, answer, judged),
        "facts": list(facts(of, request)) if request else [],
        "balance_facts": list(balance_facts(of, request)) if request else [],
        "weights": weights(of, request) if request else None,
        "readings": readings(of, request, answer["results"]) if request else [],
        "results": list(_results(of, answer["results"])),
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
        "plot": plot_of(words, answer, request),
        "budgets": budgets(words, criteria),
        "blind": blind(of, answer),
        "reveals": list(_reveals(words, answer["results"].get("reveals") or [])),
        "findings": findings(words, answer["findings"]),
        "cautions": cautions(of),
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


def _results(of: OfKind, results: Data) -> Iterator[tuple[str, str]]:
    """What the kind shows of what was computed besides."""
    for figure in of.pages.results:
        value = results.get(figure.name)
        if isinstance(value, float | int) and not isinstance(value, bool):
            digits = to_digits(decimal(value) or decimal(0.0), DIGITS)  # type: ignore[arg-type]
            yield of.words.text(figure.title), figure_text(of.words, digits, figure.unit)
