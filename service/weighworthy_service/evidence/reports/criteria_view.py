"""Criteria of an answer as they stand on paper: strip, value, limits, budget."""

from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from re import search
from typing import Any

from weighworthy_service.checks.pages import marked
from weighworthy_service.evidence.reports.figures import (
    aligned,
    decimal,
    digits_of,
    place_of,
    shares,
    small,
    to_digits,
)
from weighworthy_service.evidence.reports.of_kind import counted_as, criterion_name
from weighworthy_service.evidence.reports.sentences import said, sentence
from weighworthy_service.evidence.reports.strip import Shown, strip
from weighworthy_service.evidence.reports.terms import STAGES, called
from weighworthy_service.evidence.reports.words import Words

Data = Mapping[str, Any]

_BETWEEN = marked("{lower} to {upper}")
_AT_LEAST = marked("at least {lower}")
_AT_MOST = marked("at most {upper}")


def criterion_view(words: Words, criterion: Data) -> dict[str, Any]:
    """A criterion with a value."""
    unit, power = small(criterion["unit"])
    value, expanded, lower, upper = (
        _scaled(criterion[name], power)
        for name in ("value", "expanded_uncertainty", "lower_limit", "upper_limit")
    )
    assert value is not None  # noqa: S101  the caller shows others apart
    places = place_of(expanded, value, (lower, upper))
    shown, labels = words.number(value, places), (_text(words, lower), _text(words, upper))
    title = title_of(words, criterion)
    return {
        "title": title,
        "about": about(words, criterion),
        "key": criterion["key"],
        "verdict": criterion["verdict"],
        "value": shown,
        "expanded": None if expanded is None else words.number(expanded, _stated(expanded)),
        "unit": unit,
        "limits": limits_text(words, *labels),
        "strip": strip(
            Shown(
                value=float(value),
                expanded=float(expanded or 0),
                lower=None if lower is None else float(lower),
                upper=None if upper is None else float(upper),
                labels=labels,
                guard=_guard(criterion["decision_rule"]) * float(expanded or 0),
                title=f"{title}: {shown} {unit}",
            )
        ),
        "details": list(_details(words, criterion)),
    }


def title_of(words: Words, criterion: Data) -> str:
    """What a criterion is called."""
    return criterion_name(words, criterion["name"])


def about(words: Words, criterion: Data) -> str:
    """Of which round, stage and load it speaks."""
    parts = []
    if criterion["stage"] is not None:
        parts.append(called(words, STAGES, criterion["stage"]))
    if criterion["index"] is not None:
        parts.append(words.text(counted_as(criterion["name"]), number=criterion["index"] + 1))
    if criterion["load"] is not None:
        parts.append(words.text("load {load} g", load=words.number(criterion["load"])))
    return ", ".join(parts)


def limits_text(words: Words, lower: str | None, upper: str | None) -> str | None:
    """Limits in a few words; None: there are none."""
    if lower is None and upper is None:
        return None
    form = _BETWEEN if lower and upper else _AT_LEAST if lower else _AT_MOST
    return words.text(form, lower=lower, upper=upper)


def _details(words: Words, criterion: Data) -> Iterator[tuple[str, str]]:
    """What else was decided, name and figure."""
    unit, power = small(criterion["unit"])
    if (probability := criterion["conformance_probability"]) is not None:
        yield words.text("probability of conformity"), _probability(words, probability)
    for name, key, digits in (
        (words.text("margin"), "margin", 3),
        (words.text("tolerance / U"), "tolerance_to_uncertainty", 3),
        ("k", "coverage_factor", 4),
        ("ν", "degrees_of_freedom", 3),
    ):
        if (number := decimal(criterion[key])) is not None:
            yield name, words.number(to_digits(number, digits))
        elif key == "degrees_of_freedom" and criterion["standard_uncertainty"] is not None:
            yield name, "∞"
    if (distance := _scaled(criterion["distance"], power)) is not None:
        yield words.text("distance to the limit"), f"{words.number(to_digits(distance))} {unit}"
    if criterion["decision_rule"] is not None:
        yield words.text("rule"), said(criterion["decision_rule"], words.language)
    if criterion["limit_source"] is not None:
        yield words.text("limit from"), criterion["limit_source"]


def budgets(words: Words, criteria: Sequence[Data]) -> list[dict[str, Any]]:
    """Each budget once, with the criteria that share it."""
    found: dict[str, dict[str, Any]] = {}
    for criterion in criteria:
        if criterion["budget"]:
            same = found.setdefault(repr((criterion["budget"], criterion["unit"])), {"of": []})
            same["of"].append(criterion)
    return [_budget(words, one["of"]) for one in found.values()]


def _budget(words: Words, criteria: Sequence[Data]) -> dict[str, Any]:
    first = criteria[0]
    rows, unit, power = first["budget"], *small(first["unit"])
    parts = shares(rows)
    most = sorted(zip(parts, rows, strict=True), key=lambda one: -one[0])[:2]
    columns: list[list[str]] = [[], [], [], []]
    for row in rows:
        input_power = small(row["unit"])[1]
        per = power - input_power
        columns[0].append(digits_of(words, row["standard_uncertainty"], input_power))
        columns[1].append(digits_of(words, row["sensitivity"], per, 4))
        columns[2].append(digits_of(words, abs(row["contribution"]), power))
        columns[3].append(_freedom(words, row["degrees_of_freedom"]))
    figures = [aligned(column) for column in columns]
    expanded = _scaled(first["expanded_uncertainty"], power)
    return {
        "of": [
            ": ".join(part for part in (title_of(words, c), about(words, c)) if part)
            for c in criteria
        ],
        "unit": unit,
        "largest": [
            (sentence(row["source"], words.language), percent(words, part))
            for part, row in most
            if part > 0
        ],
        "rows": [
            {
                "source": sentence(row["source"], words.language),
                "distribution": said(row["distribution"], words.language),
                "unit": "" if row["unit"] == "1" else small(row["unit"])[0],
                "u": figures[0][i],
                "sensitivity": figures[1][i],
                "contribution": figures[2][i],
                "freedom": figures[3][i],
                "share": parts[i],
                "percent": percent(words, parts[i]),
            }
            for i, row in enumerate(rows)
        ],
        "standard": digits_of(words, first["standard_uncertainty"], power),
        "freedom": _freedom(words, first["degrees_of_freedom"]),
        "factor": digits_of(words, first["coverage_factor"], 0, 4),
        "expanded": words.number(expanded, _stated(expanded)) if expanded is not None else "",
    }


def percent(words: Words, part: float) -> str:
    """A share from 0 to 1 in whole percent."""
    return "< 1 %" if 0 < part < 0.005 else f"{words.number(Decimal(round(part * 100)))} %"


def _probability(words: Words, value: float) -> str:
    if value < 0.001:
        return f"< {words.number(0.001)}"
    return f"> {words.number(0.999)}" if value > 0.999 else words.number(Decimal(repr(value)), 3)


def _freedom(words: Words, degrees: Any) -> str:
    return "∞" if degrees is None else words.number(to_digits(Decimal(repr(degrees)), 3))


def _scaled(value: Any, power: int) -> Decimal | None:
    number = decimal(value)
    return None if number is None else number.scaleb(power)


def _stated(number: Decimal) -> int:
    """Places of an expanded uncertainty, which is stated with two digits."""
    return max(0, 1 - number.adjusted()) if number else 0


def _text(words: Words, number: Decimal | None) -> str | None:
    return None if number is None else words.number(number)


def _guard(rule: str | None) -> float:
    """How many U the acceptance limits lie within the limits, by the words of the rule."""
    found = search(r"guard band ([0-9]+(?:\.[0-9]+)?) U", rule or "")
    return float(found[1]) if found else 0.0
