"""Answers of the service as frozen values. Field names are those of the JSON document.

Measured numbers are `decimal.Decimal`, never ``float``. ``None`` means that a field does not apply;
for degrees of freedom beside a standard uncertainty it means infinite.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from types import MappingProxyType
from typing import Any, NoReturn

from weighworthy.errors import ProtocolError
from weighworthy.explained import ExplainedFigure, ExplanationStep

VERDICTS = ("pass", "conditional-pass", "conditional-fail", "fail", "void")


@dataclass(frozen=True, slots=True)
class BudgetRow:
    """One source of uncertainty; the squares of the contributions add up."""

    source: str
    distribution: str | None
    standard_uncertainty: Decimal | None
    unit: str | None
    sensitivity: Decimal | None
    contribution: Decimal | None
    degrees_of_freedom: Decimal | None


@dataclass(frozen=True, slots=True)
class Criterion:
    """One judged or computed value; value, limits and uncertainties in ``unit``."""

    key: str
    name: str
    stage: str | None
    index: int | None
    load: Decimal | None
    value: Decimal | None
    unit: str | None
    lower_limit: Decimal | None
    upper_limit: Decimal | None
    standard_uncertainty: Decimal | None
    expanded_uncertainty: Decimal | None
    coverage_factor: Decimal | None
    degrees_of_freedom: Decimal | None
    conformance_probability: Decimal | None
    margin: Decimal | None
    distance: Decimal | None
    tolerance_to_uncertainty: Decimal | None
    decision_rule: str | None
    verdict: str | None
    limit_source: str | None
    budget: tuple[BudgetRow, ...]


@dataclass(frozen=True, slots=True)
class Finding:
    """Something to know about the check: ``void``, ``no-pass``, ``warning`` or ``note``."""

    code: str
    severity: str
    message: str
    field: str | None


@dataclass(frozen=True, slots=True)
class ProfileRef:
    """The tolerance profile that was in force."""

    id: str
    revision: str | None
    digest: str | None


@dataclass(frozen=True, slots=True)
class EngineRef:
    """The program that judged; ``revision`` grows when any number or verdict can change."""

    name: str
    version: str
    revision: int


@dataclass(frozen=True, slots=True)
class Answer:
    """The result of one check. ``raw`` holds the bytes to store.

    ``data`` is the whole document, read-only, with members this version does not know;
    ``explanation`` is there where it was asked for. Two answers
    are equal when their bytes are; ``request_id`` (of the transport) plays no part in that.
    """

    check: str
    verdict: str | None
    verdict_as_found: str | None
    verdict_as_left: str | None
    verdict_if_valid: str | None
    usable: bool | None
    criteria: tuple[Criterion, ...] = field(repr=False)
    results: Mapping[str, Any] = field(repr=False, compare=False)
    findings: tuple[Finding, ...] = field(repr=False)
    profile: ProfileRef
    engine: EngineRef
    request_digest: str | None
    labels: Mapping[str, str] = field(repr=False, compare=False)
    raw: bytes = field(repr=False)
    data: Mapping[str, Any] = field(repr=False, compare=False)
    request_id: str | None = field(default=None, compare=False)
    explanation: tuple[ExplanationStep, ...] = field(default=(), repr=False, compare=False)

    def __reduce__(self) -> tuple[Any, ...]:
        # Read-only mappings cannot be pickled; the bytes hold everything anyway.
        return read_answer, (self.raw, self.request_id)

    def criterion(self, name: str) -> Criterion:
        """The criterion with this key (``span_error[0]``), or name when only one bears it.

        Raises ``KeyError`` listing the keys there are, ``ValueError`` when several bear the name.
        """
        for criterion in self.criteria:
            if criterion.key == name:
                return criterion
        found = [criterion for criterion in self.criteria if criterion.name == name]
        if len(found) == 1:
            return found[0]
        if found:
            keys = ", ".join(criterion.key for criterion in found)
            raise ValueError(f"several criteria are named {name!r}: give one of the keys {keys}")
        keys = ", ".join(criterion.key for criterion in self.criteria) or "none"
        raise KeyError(f"no criterion {name!r}; there are: {keys}")


def read_json(raw: bytes) -> Any:
    """Parse strictly, with every number as ``Decimal``. Raises ``ValueError``."""
    try:
        return json.loads(
            raw.decode("utf-8"),
            parse_float=Decimal,
            parse_int=Decimal,
            parse_constant=_no_constant,
        )
    except RecursionError:
        raise ValueError("nested too deeply") from None


def read_answer(raw: bytes, request_id: str | None = None) -> Answer:
    """Read the bytes of an answer, also ones stored earlier.

    Raises `ProtocolError` when they are not an answer of this service.
    """
    try:
        data = _object(read_json(raw), "the answer")
        return Answer(
            check=_text(data, "check"),
            verdict=_verdict(data, "verdict"),
            verdict_as_found=_verdict(data, "verdict_as_found"),
            verdict_as_left=_verdict(data, "verdict_as_left"),
            verdict_if_valid=_verdict(data, "verdict_if_valid"),
            usable=_boolean_or_none(data, "usable"),
            criteria=tuple(_criterion(row) for row in _rows(data, "criteria")),
            results=frozen(_object(data["results"], "results")),
            findings=tuple(_finding(row) for row in _rows(data, "findings")),
            profile=_profile(_object(data["profile"], "profile")),
            engine=_engine(_object(data["engine"], "engine")),
            request_digest=_text_or_none(data, "request_digest"),
            labels=frozen(_object(data["labels"], "labels")),
            raw=raw,
            data=frozen(data),
            request_id=request_id,
            explanation=tuple(
                _step(row) for row in _rows({"explanation": [], **data}, "explanation")
            ),
        )
    except KeyError as error:
        fault = f"{error.args[0]} is missing"
    except ValueError as error:
        fault = str(error)
    raise ProtocolError(f"this is not the answer to a check: {fault}", request_id=request_id)


def frozen(value: Any) -> Any:
    """The same JSON value with read-only mappings and tuples, all the way down."""
    if isinstance(value, dict):
        return MappingProxyType({name: frozen(item) for name, item in value.items()})
    if isinstance(value, list):
        return tuple(frozen(item) for item in value)
    return value


def _criterion(row: Mapping[str, Any]) -> Criterion:
    index = _number(row, "index")
    return Criterion(
        key=_text(row, "key"),
        name=_text(row, "name"),
        stage=_text_or_none(row, "stage"),
        index=None if index is None else int(index),
        load=_number(row, "load"),
        value=_number(row, "value"),
        unit=_text_or_none(row, "unit"),
        lower_limit=_number(row, "lower_limit"),
        upper_limit=_number(row, "upper_limit"),
        standard_uncertainty=_number(row, "standard_uncertainty"),
        expanded_uncertainty=_number(row, "expanded_uncertainty"),
        coverage_factor=_number(row, "coverage_factor"),
        degrees_of_freedom=_number(row, "degrees_of_freedom"),
        conformance_probability=_number(row, "conformance_probability"),
        margin=_number(row, "margin"),
        distance=_number(row, "distance"),
        tolerance_to_uncertainty=_number(row, "tolerance_to_uncertainty"),
        decision_rule=_text_or_none(row, "decision_rule"),
        verdict=_verdict(row, "verdict"),
        limit_source=_text_or_none(row, "limit_source"),
        budget=tuple(_budget_row(item) for item in _rows(row, "budget")),
    )


def _budget_row(row: Mapping[str, Any]) -> BudgetRow:
    return BudgetRow(
        source=_text(row, "source"),
        distribution=_text_or_none(row, "distribution"),
        standard_uncertainty=_number(row, "standard_uncertainty"),
        unit=_text_or_none(row, "unit"),
        sensitivity=_number(row, "sensitivity"),
        contribution=_number(row, "contribution"),
        degrees_of_freedom=_number(row, "degrees_of_freedom"),
    )


def _finding(row: Mapping[str, Any]) -> Finding:
    return Finding(
        code=_text(row, "code"),
        severity=_text(row, "severity"),
        message=_text(row, "message"),
        field=_text_or_none(row, "field"),
    )


def _step(row: Mapping[str, Any]) -> ExplanationStep:
    gives = row["gives"]
    if not isinstance(gives, list):
        raise ValueError("gives is not a list")
    return ExplanationStep(
        step=_count(row, "step"),
        what=_text(row, "what"),
        symbol=_text(row, "symbol"),
        formula=_text(row, "formula"),
        figures=_text(row, "figures"),
        result=_text(row, "result"),
        exact=_text_or_none(row, "exact"),
        digits=None if row["digits"] is None else _count(row, "digits"),
        unit=_text_or_none(row, "unit"),
        where=tuple(
            ExplainedFigure(_text(item, "name"), _text(item, "figure"), _text(item, "from"))
            for item in _rows(row, "where")
        ),
        source=_text_or_none(row, "source"),
        gives=tuple(str(place) for place in gives),
        gives_digits=_count(row, "gives_digits"),
    )


def _profile(row: Mapping[str, Any]) -> ProfileRef:
    return ProfileRef(
        id=_text(row, "id"),
        revision=_text_or_none(row, "revision"),
        digest=_text_or_none(row, "digest"),
    )


def _engine(row: Mapping[str, Any]) -> EngineRef:
    revision = _count(row, "revision")
    return EngineRef(name=_text(row, "name"), version=_text(row, "version"), revision=revision)


def _no_constant(name: str) -> NoReturn:
    raise ValueError(f"{name} is not JSON")


def _object(value: Any, name: str) -> dict[str, Any]:
    if not isinstance(value, dict):
        raise ValueError(f"{name} is not an object")
    return value


def _rows(data: Mapping[str, Any], name: str) -> Sequence[dict[str, Any]]:
    rows = data[name]
    if not isinstance(rows, list):
        raise ValueError(f"{name} is not a list")
    return [_object(row, f"{name}[{index}]") for index, row in enumerate(rows)]


def _text(data: Mapping[str, Any], name: str) -> str:
    value = data[name]
    if not isinstance(value, str):
        raise ValueError(f"{name} is not text")
    return value


def _text_or_none(data: Mapping[str, Any], name: str) -> str | None:
    return None if data[name] is None else _text(data, name)


def _number(data: Mapping[str, Any], name: str) -> Decimal | None:
    value = data[name]
    if value is not None and not isinstance(value, Decimal):
        raise ValueError(f"{name} is not a number")
    return value


def _count(data: Mapping[str, Any], name: str) -> int:
    value = _number(data, name)
    if value is None or value != int(value):
        raise ValueError(f"{name} is not an integer")
    return int(value)


def _boolean_or_none(data: Mapping[str, Any], name: str) -> bool | None:
    value = data[name]
    if value is not None and not isinstance(value, bool):
        raise ValueError(f"{name} is neither true, false nor null")
    return value


def _verdict(data: Mapping[str, Any], name: str) -> str | None:
    value = _text_or_none(data, name)
    if value is not None and value not in VERDICTS:
        raise ValueError(f"{name} {value[:40]!r} is no verdict")
    return value
