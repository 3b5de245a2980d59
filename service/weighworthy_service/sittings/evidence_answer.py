"""What a sitting says of causes, as a document."""

from collections.abc import Sequence
from math import inf
from typing import Any

from weighworthy_service.checks.answer import number
from weighworthy_service.checks.causes import Cause, Size
from weighworthy_service.sittings.evidence import Compared, Evidence, Explaining, Failed
from weighworthy_service.sittings.overall import figure, sentence_of
from weighworthy_service.sittings.sights import Shown
from weighworthy_service.sittings.words import CAUSES, phrase

_BEHIND = {
    "possible": "can be behind it alone",
    "not-alone": "can be behind it only together with something else",
    "contradicted": "is ruled out",
}


def evidence_document(found: Evidence) -> dict[str, Any]:
    """The part of the answer that tells of causes."""
    return {
        "failed": [_failed(one) for one in found.failed],
        "alone": [
            {**_cause(cause), **_ends(size), "message": _needs(cause, size)}
            for cause, size in found.alone
        ],
        "compared": [_compared(one) for one in found.compared],
        "silent": list(found.silent),
    }


def _failed(one: Failed) -> dict[str, Any]:
    return {
        "index": one.judged.index,
        "check": one.judged.kind.slug,
        "criterion": one.criterion.key,
        "valid": one.judged.evaluation.verdict != "void",
        "sentence": sentence_of(one.criterion),
        "causes": [_explaining(found) for found in one.causes],
        "cannot": [
            {
                "cause": name,
                "message": f"{phrase(name, None)} does not act on it: {CAUSES[name][1]}",
            }
            for name in one.cannot
        ],
        "next": [
            {
                "check": step.check,
                "how": step.how,
                "tells": list(step.tells),
                "leaves": list(step.leaves),
                "message": step.sentence,
            }
            for step in one.next
        ],
    }


def _explaining(found: Explaining) -> dict[str, Any]:
    against = [bound for bound in found.bounds if not found.agrees(bound)]
    because = f": {'; '.join(_allows(bound) for bound in against)}" if against else ""
    return {
        **_cause(found.cause),
        "state": found.state,
        **_ends(found.needed),
        "bounds": [
            {**shown_document(bound), "agrees": found.agrees(bound), "message": _allows(bound)}
            for bound in found.bounds
        ],
        "message": f"{_needs(found.cause, found.needed)}, {_BEHIND[found.state]}{because}",
    }


def _compared(one: Compared) -> dict[str, Any]:
    loads = " and ".join(f"{load:f} g" for load in one.cause.loads)
    what = f"the error at {loads}"
    if one.cause.name == "departure":
        what = f"the departure from linearity between {loads}"
    both = f"{_allows(one.one)}; {_allows(one.other)}"
    message = f"{what} agrees: {both}" if one.agrees else f"{what} cannot be both: {both}"
    return {
        "what": one.cause.name,
        "loads": [number(load) for load in one.cause.loads],
        "of": [shown_document(one.one), shown_document(one.other)],
        "agrees": one.agrees,
        "message": message,
    }


def _cause(cause: Cause) -> dict[str, Any]:
    return {"cause": cause.name, "weight": cause.about, "unit": cause.unit}


def shown_document(shown: Shown) -> dict[str, Any]:
    """A value of a check with the size that it allows a cause."""
    return {
        "index": shown.index,
        "check": shown.check,
        "criterion": shown.sight.criterion,
        "what": shown.sight.what,
        **_ends(shown.sight.size),
    }


def _ends(size: Size) -> dict[str, Any]:
    low, high = size
    return {
        "from": None if low == -inf else number(low),
        "to": None if high == inf else number(high),
    }


def _needs(cause: Cause, size: Size) -> str:
    return f"{phrase(cause.name, cause.about)}, {_range(size, cause.unit)}"


def _allows(shown: Shown) -> str:
    what = f", {shown.sight.what}" if shown.sight.what else ""
    where = f"{shown.sight.criterion}{what} of check {shown.index + 1} ({shown.check})"
    return f"{where} allows {_range(shown.sight.size, shown.cause.unit)}"


def _range(size: Size, unit: str) -> str:
    low, high = size
    of = "" if unit == "1" else f" {unit}"
    ends: Sequence[str] = [
        *([f"from {shortly(low)}{of}"] if low != -inf else []),
        *([f"to {shortly(high)}{of}"] if high != inf else []),
    ]
    return " ".join(ends) or "any size"


def shortly(value: float) -> str:
    """A figure of three digits for people."""
    return figure(float(f"{value:.3g}"))
