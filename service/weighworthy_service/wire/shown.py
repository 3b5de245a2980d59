"""Fields of answers: they only say what is there, and are always there."""

from typing import Any, Final

from marshmallow import EXCLUDE, Schema

from weighworthy_service.wire.containers import ListOf, Part
from weighworthy_service.wire.fields import OneOf, Strict
from weighworthy_service.wire.request import said

VERDICTS: Final = ("pass", "conditional-pass", "conditional-fail", "fail", "void")


class Shown(Strict[Any]):
    """A value with the JSON Schema keywords given."""

    def __init__(self, keywords: dict[str, Any], *, null: bool = False, **kwargs: Any) -> None:
        super().__init__(required=True, allow_none=null, **kwargs)
        self._keywords = keywords

    def keywords(self) -> dict[str, Any]:
        return dict(self._keywords)


def number(sentence: str = "", *, null: bool = True) -> Shown:
    return Shown({"type": "number"}, null=null, metadata=said(sentence) if sentence else {})


def text(sentence: str = "", *, null: bool = False) -> Shown:
    return Shown({"type": "string"}, null=null, metadata=said(sentence) if sentence else {})


def listed(inner: type[Schema], sentence: str = "") -> Shown | ListOf:
    metadata = said(sentence) if sentence else {}
    return ListOf(Part(inner), maximum=1_000_000, required=True, metadata=metadata)


def a_verdict(sentence: str) -> OneOf:
    return OneOf(VERDICTS, required=True, allow_none=True, metadata=said(sentence))


class Said(Schema):
    class Meta:
        unknown = EXCLUDE
