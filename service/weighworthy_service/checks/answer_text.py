"""The answer to a check request as it is sent: the bytes of what `answer` has, written at once.

Making a document of an answer, only to have it written, takes as long as judging the check. Names
and order of fields stand here a second time; tests hold both forms together to the last byte.
"""

from collections.abc import Callable, Iterable, Mapping
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache
from json.encoder import encode_basestring
from math import isnan
from typing import Any, Final

from weighworthy_service.checks.answer import ENGINE_REVISION, float_number, number
from weighworthy_service.checks.outcome import Criterion, Evaluation, Finding
from weighworthy_service.checks.terms import ProfileIdentity
from weighworthy_service.json_text import to_bytes
from weighworthy_service.metrology.budget import BudgetRow


def _form(*names: str) -> str:
    """An object with these fields, with places for their texts."""
    return _object(names)


# Most are fields of ours, and so few.
@lru_cache(maxsize=64)
def _object(names: tuple[str, ...]) -> str:
    written = [encode_basestring(name).replace("%", "%%") for name in names]
    return "{" + ",".join(f"{name}:%s" for name in written) + "}"


_ANSWER: Final = _form(
    "check",
    "verdict",
    "verdict_as_found",
    "verdict_as_left",
    "verdict_if_valid",
    "usable",
    "criteria",
    "results",
    "findings",
    "profile",
    "engine",
    "request_digest",
    "labels",
)
_CRITERION: Final = _form(
    "key",
    "name",
    "stage",
    "index",
    "load",
    "value",
    "unit",
    "lower_limit",
    "upper_limit",
    "standard_uncertainty",
    "expanded_uncertainty",
    "coverage_factor",
    "degrees_of_freedom",
    "conformance_probability",
    "margin",
    "distance",
    "tolerance_to_uncertainty",
    "decision_rule",
    "verdict",
    "limit_source",
    "budget",
)
_ROW: Final = _form(
    "source",
    "distribution",
    "standard_uncertainty",
    "unit",
    "sensitivity",
    "contribution",
    "degrees_of_freedom",
)
_FINDING: Final = _form("code", "severity", "message", "field")
_PROFILE: Final = _form("id", "revision", "digest")
_ENGINE: Final = _form("name", "version", "revision")
_WORDS: Final = {None: "null", True: "true", False: "false"}


def answer_text(
    evaluation: Evaluation,
    *,
    profile: ProfileIdentity,
    version: str,
    request_digest: str,
    labels: Mapping[str, str],
    short: bool = False,
) -> bytes:
    """The bytes of `answer`, of the same arguments."""
    results = evaluation.results
    if short:
        results = {name: value for name, value in results.items() if name != "reveals"}
    written = _ANSWER % (
        _text(evaluation.check),
        _text(evaluation.verdict),
        _text(evaluation.verdict_as_found),
        _text(evaluation.verdict_as_left),
        _text(evaluation.verdict_if_valid),
        _WORDS[evaluation.usable],
        _list([_criterion(criterion, short=short) for criterion in evaluation.criteria]),
        _object_of(results),
        _findings(evaluation.findings),
        _profile(profile),
        _engine(version),
        _text(request_digest),
        to_bytes(dict(labels)).decode() if labels else "{}",
    )
    return written.encode()


def _criterion(criterion: Criterion, *, short: bool) -> str:
    return _CRITERION % (
        *_each(
            (
                criterion.key,
                criterion.name,
                criterion.stage,
                criterion.index,
                criterion.load,
                criterion.value,
                criterion.unit,
                criterion.lower_limit,
                criterion.upper_limit,
                criterion.standard_uncertainty,
                criterion.expanded_uncertainty,
                criterion.coverage_factor,
                criterion.degrees_of_freedom,
                criterion.conformance_probability,
                criterion.margin,
                criterion.distance,
                criterion.tolerance_to_uncertainty,
                criterion.decision_rule,
                criterion.verdict,
                criterion.limit_source,
            )
        ),
        "[]" if short else _list([_row(row) for row in criterion.budget]),
    )


def _row(row: BudgetRow) -> str:
    source, distribution, u, unit, sensitivity, degrees = row
    values = (source, distribution, u, unit, sensitivity, row.contribution, degrees)
    return _ROW % tuple(_each(values))


# Of one laboratory the same few come again and again, as do profiles.
@lru_cache(maxsize=256)
def _findings(findings: tuple[Finding, ...]) -> str:
    return _list([_FINDING % tuple([_text(part) for part in finding]) for finding in findings])


@lru_cache(maxsize=64)
def _profile(profile: ProfileIdentity) -> str:
    return _PROFILE % (_text(profile.id), _text(profile.revision), _text(profile.digest))


@lru_cache(maxsize=4)
def _engine(version: str) -> str:
    return _ENGINE % (_text("weighworthy"), _text(version), ENGINE_REVISION)


def _each(values: Iterable[Any]) -> list[str]:
    """As `jsonable` has them; asking for the type of each is the quickest way to tell them."""
    return [_WRITERS.get(type(value), _other)(value) for value in values]


def _object_of(value: Mapping[str, Any]) -> str:
    return _object(tuple(value)) % tuple(_each(value.values()))


def _list_of(value: Iterable[Any]) -> str:
    return _list(_each(value))


def _number(value: Decimal | Fraction | int) -> str:
    return repr(number(value))


# As `number` keeps them, and for the same reason.
@lru_cache(maxsize=1024)
def _float(value: float) -> str:
    found = float_number(value)
    if found is None:
        return "null"
    if isnan(found):
        raise ValueError("JSON has no text for what is not a number")
    return repr(found)


def _other(value: Any) -> str:
    if isinstance(value, str):
        return encode_basestring(value)
    return _object_of(value) if isinstance(value, Mapping) else _list_of(value)


_WRITERS: Final[dict[type, Callable[[Any], str]]] = {
    str: encode_basestring,
    float: _float,
    type(None): _WORDS.__getitem__,
    bool: _WORDS.__getitem__,
    int: repr,
    Decimal: _number,
    Fraction: _number,
    dict: _object_of,
    list: _list_of,
    tuple: _list_of,
}


def _text(value: str | None) -> str:
    return "null" if value is None else encode_basestring(value)


def _list(written: Iterable[str]) -> str:
    return "[" + ",".join(written) + "]"
