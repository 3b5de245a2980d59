"""The answer to a check request as it is sent: the bytes of what `answer` has, written at once.

Making a document of an answer, only to have it written, takes as long as judging the check. Names
and order of fields stand here a second time; tests hold both forms together to the last byte.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
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
_CRITERION: Final = (
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
_ROW: Final = (
    "source",
    "distribution",
    "standard_uncertainty",
    "unit",
    "sensitivity",
    "contribution",
    "degrees_of_freedom",
)
# What of them is the same in many answers.
_CRITERION_WORDS: Final = (
    "key",
    "name",
    "stage",
    "index",
    "unit",
    "decision_rule",
    "verdict",
    "limit_source",
)
_ROW_SETTLED: Final = (
    "source",
    "distribution",
    "standard_uncertainty",
    "unit",
    "degrees_of_freedom",
)
_FINDING: Final = _form("code", "severity", "message", "field")
_PROFILE: Final = _form("id", "revision", "digest")
_ENGINE: Final = _form("name", "version", "revision")
# By identity, which is told far quicker than that fractions are equal.
_NUMBERS: Final[dict[int, tuple[Any, str]]] = {}
_MOST_NUMBERS: Final = 4096
# Where a place is, in a text. Nobody's text has it; if one has, no form is made of it.
_MARK: Final = "\ue124"
_NO_LABELS: Final = "{}}"
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
    return _text_of(evaluation, profile, version, request_digest, labels, short=short).encode()


class _Place:
    """Stands for a number, and for whatever is computed of it for the text."""

    def __abs__(self) -> "_Place":
        return self

    def __mul__(self, _other: Any) -> "_Place":
        return self


# In place of a number of an evaluation of which an `AnswerForm` is made.
PLACE: Final[Any] = _Place()


def number_text(value: Any) -> str:
    """A number as answers have it: exact ones to 15, floats to 10 significant digits."""
    return _value(value)


class AnswerForm:
    """What answers have in common that differ in some numbers, their digests and their labels.

    `places` is how many numbers that are: more than the `PLACE`s of the evaluation that it was made
    of, where somebody's text holds the mark itself, and then of no use.
    """

    def __init__(self, evaluation: Evaluation, profile: ProfileIdentity, version: str) -> None:
        text = _text_of(evaluation, profile, version, _MARK, {})
        before, none = text[: -len(_NO_LABELS)], text[-len(_NO_LABELS) :]
        assert none == _NO_LABELS  # noqa: S101  they are written last
        self.places = text.count(_MARK) - 1
        self._form = before.replace("%", "%%").replace(_MARK, "%s") + "%s}"

    def filled(self, numbers: Sequence[str], digest: str, labels: Mapping[str, str]) -> bytes:
        """The bytes of the answer with these numbers, as texts in the order of their places."""
        return (self._form % (*numbers, digest, _labels(labels))).encode()


def place_in(text: str, part: str) -> str:
    """The text with a place for the last of such parts."""
    before, found, after = text.rpartition(part)
    assert found  # noqa: S101  the caller knows that it is there
    return f"{before}{_MARK}{after}"


def _text_of(
    evaluation: Evaluation,
    profile: ProfileIdentity,
    version: str,
    request_digest: str,
    labels: Mapping[str, str],
    *,
    short: bool = False,
) -> str:
    results = evaluation.results
    if short:
        results = {name: value for name, value in results.items() if name != "reveals"}
    return _ANSWER % (
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
        _labels(labels),
    )


def _labels(labels: Mapping[str, str]) -> str:
    return to_bytes(dict(labels)).decode() if labels else "{}"


def _criterion(criterion: Criterion, *, short: bool) -> str:
    form = _criterion_form(
        criterion.key,
        criterion.name,
        criterion.stage,
        criterion.index,
        criterion.unit,
        criterion.decision_rule,
        criterion.verdict,
        criterion.limit_source,
    )
    return form % (
        _again(criterion.load),
        _value(criterion.value),
        _again(criterion.lower_limit),
        _again(criterion.upper_limit),
        _value(criterion.standard_uncertainty),
        _value(criterion.expanded_uncertainty),
        _value(criterion.coverage_factor),
        _value(criterion.degrees_of_freedom),
        _value(criterion.conformance_probability),
        _value(criterion.margin),
        _value(criterion.distance),
        _again(criterion.tolerance_to_uncertainty),
        "[]" if short else _list([_row(row) for row in criterion.budget]),
    )


# The same few come again and again, as do the inputs of a budget. 1 and 1.0 are written apart.
@lru_cache(maxsize=1024, typed=True)
def _criterion_form(*words: str | int | None) -> str:
    """With places for the numbers of a criterion."""
    return _filled(_CRITERION, dict(zip(_CRITERION_WORDS, words, strict=True)))


def _row(row: BudgetRow) -> str:
    source, distribution, u, unit, sensitivity, degrees, _ = row
    form = _row_form(source, distribution, u, unit, degrees)
    return form % (_value(sensitivity), _value(abs(sensitivity) * u))


@lru_cache(maxsize=1024, typed=True)
def _row_form(*settled: str | float) -> str:
    """With places for how an input acts: its sensitivity and its contribution."""
    return _filled(_ROW, dict(zip(_ROW_SETTLED, settled, strict=True)))


def _filled(names: tuple[str, ...], known: Mapping[str, Any]) -> str:
    """An object of which some fields are known, with places for the others."""
    texts = [_value(known[n]).replace("%", "%%") if n in known else "%s" for n in names]
    return _object(names) % tuple(texts)


def _again(value: Decimal | Fraction | None) -> str:
    """Of what is settled once for many checks: the very same number comes with each of them."""
    found = _NUMBERS.get(id(value))
    # Held beside its text, so that no other can have its identity.
    if found is not None:
        return found[1]
    if len(_NUMBERS) >= _MOST_NUMBERS:
        _NUMBERS.clear()
    text = _value(value)
    _NUMBERS[id(value)] = (value, text)
    return text


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


def _value(value: Any) -> str:
    return _WRITERS.get(type(value), _other)(value)


def _object_of(value: Mapping[str, Any]) -> str:
    writers = _WRITERS
    written = [writers.get(type(below), _other)(below) for below in value.values()]
    return _object(tuple(value)) % tuple(written)


def _list_of(value: Iterable[Any]) -> str:
    return _list(_each(value))


def _number(value: Decimal | Fraction | int) -> str:
    return repr(number(value))


def float_text(value: float) -> str:
    """The same of a float."""
    text = f"{value:.10g}"
    # Of ten digits or fewer, a float is written as they are, but for whole numbers and large ones.
    if "." in text and "+" not in text:
        return text
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
    float: float_text,
    type(None): _WORDS.__getitem__,
    bool: _WORDS.__getitem__,
    int: repr,
    Decimal: _number,
    Fraction: _number,
    dict: _object_of,
    list: _list_of,
    tuple: _list_of,
    _Place: lambda _place: _MARK,
}


def _text(value: str | None) -> str:
    return "null" if value is None else encode_basestring(value)


def _list(written: Iterable[str]) -> str:
    return "[" + ",".join(written) + "]"
