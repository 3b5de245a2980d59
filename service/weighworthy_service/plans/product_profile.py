"""The profile that a product asks for, as a document and as TOML with its reasons as comments."""

import json
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, Final

from weighworthy_service.plans.asking import (
    LINEARITY,
    LOSS,
    LOSS_ERROR,
    POINT_ERROR,
    SPAN,
    SPAN_ERROR,
    ZERO_RETURN,
)

# A profile writes a share as two whole numbers below a thousand.
_LARGEST: Final = 999
_WIDTH: Final = 98
_PLAIN: Final = re.compile(r"[^*?\[\]]+")


@dataclass(frozen=True, slots=True)
class Wanted:
    """What the profile says; limits, window and coverage as texts with their units."""

    id: str
    revision: str
    title: str
    instrument: str | None
    method: str | None
    decision: Mapping[str, str]
    weights_share: Fraction
    points: int
    limits: Mapping[str, str]
    sources: Mapping[str, str]
    window: Mapping[str, str]


def profile_document(wanted: Wanted) -> dict[str, Any]:
    """The document; its rules apply to the balance and the method, where these are stated."""
    whom: dict[str, Any] = {}
    for selector, name in (("instruments", wanted.instrument), ("methods", wanted.method)):
        # A name with signs of a pattern would select others too.
        if name is not None and _PLAIN.fullmatch(name):
            whom[selector] = [name]
    first: dict[str, Any] = {**whom, "decision": dict(wanted.decision)}
    share = wanted.weights_share
    if share.denominator <= _LARGEST:
        written = f"{share.numerator}/{share.denominator} of limit"
        first["validity"] = {"weights_at_most": {"share": written, "else": "warning"}}
    rules = [
        first,
        {
            "checks": [SPAN.slug],
            **whom,
            "limits": _limits(wanted, (SPAN_ERROR, ZERO_RETURN)),
        },
        {
            "checks": [LINEARITY.slug],
            **whom,
            "limits": _limits(wanted, (POINT_ERROR,)),
            "validity": {"points": {"at_least": wanted.points, "else": "no-pass"}},
        },
        {
            "checks": [LOSS.slug],
            **whom,
            "limits": _limits(wanted, (LOSS_ERROR,)),
            "start_window": dict(wanted.window),
        },
    ]
    return {
        "id": wanted.id,
        "revision": wanted.revision,
        "title": wanted.title,
        "rules": rules,
    }


def _limits(wanted: Wanted, names: Sequence[str]) -> dict[str, Any]:
    return {name: {"within": wanted.limits[name], "source": wanted.sources[name]} for name in names}


def profile_toml(document: Mapping[str, Any], reasons: Sequence[str]) -> str:
    """The same as TOML 1.0; `reasons` stand above it as comments."""
    lines = [line for reason in reasons for line in _comment(reason)]
    lines.append("")
    lines += [f"{key} = {_inline(document[key])}" for key in ("id", "revision", "title")]
    for rule in document["rules"]:
        lines += ["", "[[rules]]", *_rule(rule)]
    return "\n".join(lines) + "\n"


def _rule(rule: Mapping[str, Any]) -> Iterator[str]:
    for key, value in rule.items():
        if key == "limits":
            for name, limit in value.items():
                yield f"limits.{name}.within = {_inline(limit['within'])}"
                yield f"limits.{name}.source = {_inline(limit['source'])}"
        else:
            yield f"{key} = {_inline(value)}"


def _inline(value: Any) -> str:
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{key} = {_inline(one)}" for key, one in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(_inline(one) for one in value) + "]"
    # The escapes of JSON are escapes of TOML too; DEL, which JSON lets stand, TOML does not.
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def _comment(sentence: str) -> Iterator[str]:
    line = "#"
    # A name that somebody states may hold a line end, which would end the comment.
    for word in sentence.split():
        if len(line) + len(word) >= _WIDTH:
            yield line
            line = "#  "
        line += f" {word}"
    yield line
