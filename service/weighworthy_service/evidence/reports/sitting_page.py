"""The report of a sitting: one verdict, each check, and what can be behind a failure."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from decimal import Decimal
from typing import Any

from weighworthy_service.evidence.reports.batch_page import deciding
from weighworthy_service.evidence.reports.blind import cautions
from weighworthy_service.evidence.reports.cause_words import CAUSES, HOW, QUANTITIES, STATES
from weighworthy_service.evidence.reports.check_view import USE, findings
from weighworthy_service.evidence.reports.criteria_view import criterion_view
from weighworthy_service.evidence.reports.figures import decimal, small, to_digits
from weighworthy_service.evidence.reports.of_kind import OfKind, criterion_name, kind_name
from weighworthy_service.evidence.reports.pages import Page, render
from weighworthy_service.evidence.reports.terms import FIELDS, called
from weighworthy_service.evidence.reports.words import Words, words

Data = Mapping[str, Any]

# Of sizes that are known to two digits at the best.
_DIGITS = 3
_GRAVE = ("void", "no-pass")


def sitting_page(
    answer: Data, request: Data | None, language: str, *, stored: bool = False
) -> Page:
    """The document. `stored`: an earlier answer, which is taken at its word."""
    of_language = words(language)
    digest = answer["request_digest"].removeprefix("sha256:")[:16]
    balance = (request or {}).get("instrument") or {}
    return render(
        "sitting",
        language,
        running=f"weighworthy · {of_language.text('Report of a sitting')} · {digest}",
        stored=stored,
        answer=answer,
        balance={name: balance.get(name) for name in ("id", "model", "site")},
        performed=_performed(of_language, (request or {}).get("performed_at")),
        use=of_language.text(USE[answer["usable"]]),
        findings=findings(of_language, answer["findings"]),
        checks=[_check(of_language, i, one) for i, one in enumerate(answer["answers"])],
        failed=[_failed(of_language, one) for one in answer["evidence"]["failed"]],
        apart=[
            _compared(of_language, one)
            for one in answer["evidence"]["compared"]
            if not one["agrees"]
        ],
        losses=list(_losses(of_language, answer["losses"])),
        fed=list(_fed(of_language, answer)),
        cautions=list(
            dict.fromkeys(
                text
                for one in answer["answers"]
                for text in cautions(OfKind(of_language, one["check"]))
            )
        ),
    )


def _performed(of: Words, at: Any) -> str | None:
    try:
        return of.instant(datetime.fromisoformat(at))
    except (TypeError, ValueError):
        return None


def _check(of: Words, index: int, answer: Data) -> dict[str, Any]:
    criterion = deciding(answer)
    return {
        "number": index + 1,
        "kind": kind_name(of, answer["check"]),
        "verdict": answer["verdict"],
        "decided": None if criterion is None else criterion_view(of, criterion),
        "codes": [one["code"] for one in answer["findings"] if one["severity"] in _GRAVE],
    }


def _failed(of: Words, one: Data) -> dict[str, Any]:
    order = list(STATES)
    return {
        "number": one["index"] + 1,
        "kind": kind_name(of, one["check"]),
        "criterion": criterion_name(of, one["criterion"].partition("[")[0]),
        "valid": one["valid"],
        "causes": [
            {
                "name": _cause(of, cause["cause"], cause["weight"]),
                "needed": _range(of, cause, cause["unit"]),
                "state": cause["state"],
                "word": called(of, STATES, cause["state"]),
                "against": [
                    f"{_value(of, bound)}: {_range(of, bound, cause['unit'])}"
                    for bound in cause["bounds"]
                    if not bound["agrees"]
                ],
            }
            for cause in sorted(one["causes"], key=lambda cause: order.index(cause["state"]))
        ],
        "cannot": [_cause(of, cause["cause"], None) for cause in one["cannot"]],
        "next": [
            {
                "check": called(of, HOW, step["how"])
                if step["how"]
                else kind_name(of, step["check"]),
                "tells": [_cause(of, name, None) for name in step["tells"]],
            }
            for step in one["next"]
        ],
    }


def _compared(of: Words, one: Data) -> dict[str, Any]:
    loads = " → ".join(f"{of.number(load)} g" for load in one["loads"])
    return {
        "what": f"{called(of, QUANTITIES, one['what'])}, {loads}",
        "of": [f"{_value(of, value)}: {_range(of, value, 'g')}" for value in one["of"]],
    }


def _losses(of: Words, losses: Sequence[Data]) -> Iterator[tuple[str, str]]:
    """What other checks add to a loss, name and figures."""
    for loss in losses:
        number, unit = loss["index"] + 1, loss["unit"]
        if (gain := loss["constant_gain"]) is not None:
            name = of.text("Check {number}: constant gain left, which cancels", number=number)
            yield name, f"{_range(of, gain, '1')} ({_value(of, gain)})"
        for curve in loss["linearity"]:
            name = of.text("Check {number}: departure of the curve, in the loss", number=number)
            effect, expanded = (
                _figure(of, curve[key], unit) for key in ("effect", "effect_expanded_uncertainty")
            )
            yield name, f"{effect} ± {expanded} ({_value(of, curve)})"
            name = of.text("Check {number}: U with that as an allowance", number=number)
            yield name, _figure(of, curve["expanded_uncertainty"], unit)


def _fed(of: Words, answer: Data) -> Iterator[dict[str, Any]]:
    fed = answer["as_fed"] or {"feedings": ()}
    for one in fed["feedings"]:
        for effect in one["effects"]:
            yield {
                "what": ", ".join(
                    f"{called(of, FIELDS, name)}: {_stated(value)}"
                    for name, value in one["fields"].items()
                ),
                "source": one["from"] + 1,
                "target": one["to"] + 1,
                "criterion": criterion_name(of, effect["criterion"].partition("[")[0]),
                "before": _figure(of, effect["expanded_uncertainty"], effect["unit"]),
                "after": _figure(of, effect["expanded_uncertainty_fed"], effect["unit"]),
                "verdict": effect["verdict_fed"],
            }


def _stated(value: Any) -> str:
    return ", ".join(map(str, value.values())) if isinstance(value, dict) else str(value)


def _cause(of: Words, name: str, weight: str | None) -> str:
    return called(of, CAUSES, name) + (f": {weight}" if weight else "")


def _value(of: Words, value: Data) -> str:
    """A value of a check in a few words."""
    criterion = criterion_name(of, value["criterion"].partition("[")[0])
    return of.text("check {number}, {what}", number=value["index"] + 1, what=criterion)


def _range(of: Words, ends: Data, unit: str) -> str:
    low, high = (decimal(ends[name]) for name in ("from", "to"))
    shown_unit = "" if unit == "1" else f"\N{NO-BREAK SPACE}{small(unit)[0]}"
    texts = [None if end is None else _short(of, end, unit) for end in (low, high)]
    if texts[0] is not None and texts[1] is not None:
        return of.text("{lower} to {upper}", lower=texts[0], upper=texts[1]) + shown_unit
    if texts[0] is not None:
        return of.text("at least {lower}", lower=texts[0]) + shown_unit
    if texts[1] is not None:
        return of.text("at most {upper}", upper=texts[1]) + shown_unit
    return of.text("any size")


def _figure(of: Words, value: Any, unit: str) -> str:
    number = decimal(value)
    if number is None:
        return "–"
    return f"{_short(of, number, unit)}\N{NO-BREAK SPACE}{small(unit)[0]}"


def _short(of: Words, number: Decimal, unit: str) -> str:
    power = 0 if unit == "1" else small(unit)[1]
    return of.number(to_digits(number.scaleb(power), _DIGITS))
