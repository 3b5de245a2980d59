"""What schemas of the OpenAPI document say, in words for people."""

from dataclasses import dataclass
from typing import Any, Final

from markupsafe import Markup, escape

_TYPES: Final = {
    "string": "text",
    "integer": "whole number",
    "number": "number",
    "boolean": "true or false",
    "object": "object",
    "array": "list",
    "null": "null",
}
_FORMATS: Final = {"date": "date, YYYY-MM-DD", "date-time": "time with offset, RFC 3339"}
_SPANS: Final = (
    ("minLength", "maxLength", "characters"),
    ("minItems", "maxItems", "items"),
    ("minProperties", "maxProperties", "names"),
    ("minimum", "maximum", ""),
)


@dataclass(frozen=True, slots=True)
class Field:
    """A row of the table of a form."""

    name: str
    needed: bool
    type: Markup
    limits: Markup
    description: str


@dataclass(frozen=True, slots=True)
class Shape:
    """A form: the fields of an object, or in `type` what it is instead."""

    name: str
    description: str
    closed: bool
    type: Markup
    fields: tuple[Field, ...]


def shape_of(name: str, schema: dict[str, Any]) -> Shape:
    """The form of a schema with `name`, without those that it refers to."""
    closed = schema.get("additionalProperties") is False
    needed = schema.get("required", [])
    fields = tuple(
        Field(
            name=field,
            needed=field in needed,
            type=type_of(form, answers=not closed),
            limits=limits_of(form),
            description=form.get("description", ""),
        )
        for field, form in schema.get("properties", {}).items()
    )
    about = schema.get("description", "")
    return Shape(name, about, closed, type_of(schema, answers=not closed), fields)


def type_of(schema: Any, *, answers: bool) -> Markup:
    """The type with links to forms. Null is told of answers only: in requests it is leaving out."""
    kinds = list(dict.fromkeys(_kinds(schema, answers=answers)))
    if not answers and len(kinds) > 1:
        kinds = [kind for kind in kinds if kind != "null"]
    return Markup(" or ").join(kinds)


def _kinds(schema: Any, *, answers: bool) -> list[Markup]:
    if not isinstance(schema, dict) or not schema:
        return [Markup("anything")]
    if "$ref" in schema:
        return [link(schema["$ref"].rsplit("/", 1)[1])]
    if "anyOf" in schema:
        return [kind for one in schema["anyOf"] for kind in _kinds(one, answers=answers)]
    if "const" in schema:
        return [_code(schema["const"])]
    stated = schema.get("type", "anything")
    types = [stated] if isinstance(stated, str) else stated
    return [_kind(one, schema, answers=answers) for one in types]


def _kind(name: str, schema: dict[str, Any], *, answers: bool) -> Markup:
    if name == "array" and "items" in schema:
        return Markup("list of ") + type_of(schema["items"], answers=answers)
    rest = schema.get("additionalProperties")
    if name == "object" and isinstance(rest, dict):
        return Markup("object, by name ") + type_of(rest, answers=answers)
    if name == "object" and "properties" in schema:
        parts = [
            Markup("<code>{}</code> ({})").format(field, type_of(form, answers=answers))
            for field, form in schema["properties"].items()
        ]
        return Markup("object of ") + Markup(", ").join(parts)
    if name == "string" and schema.get("format") in _FORMATS:
        return escape(_FORMATS[schema["format"]])
    return escape(_TYPES.get(name, name))


def link(name: str) -> Markup:
    """A link to the form of that name."""
    return Markup('<a href="#form-{0}">{0}</a>').format(name)


def limits_of(schema: dict[str, Any]) -> Markup:
    """What its values have to keep to, beyond the type."""
    said: list[Markup] = []
    for one in (schema, *schema.get("anyOf", []), schema.get("items", {})):
        if "enum" in one:
            listed = [_code(value) for value in one["enum"] if value is not None]
            said.append(Markup("one of ") + Markup(", ").join(listed))
        said += [escape(words) for keys in _SPANS if (words := _span(one, *keys))]
        for example in one.get("examples", [])[:2]:
            said.append(Markup("like ") + _code(example))
        # A pattern says little beside an example or a format.
        if "pattern" in one and not {"examples", "format"} & one.keys():
            said.append(Markup("matches ") + _code(one["pattern"]))
    if schema.get("default") is not None:
        said.append(Markup("left out: ") + _code(schema["default"]))
    return Markup("; ").join(dict.fromkeys(said))


def _span(schema: dict[str, Any], lower: str, upper: str, of: str) -> str:
    least, most = schema.get(lower), schema.get(upper)
    if of and least == 0:
        least = None
    if least is None and most is None:
        return ""
    if most is None:
        # That a text is not empty goes without saying.
        return "" if of == "characters" and least == 1 else f"at least {least} {of}".rstrip()
    if least is None or (of and least == 1):
        return f"at most {most:,} {of}".rstrip()
    return f"{least} to {most} {of}".rstrip() if least != most else f"{least} {of}".rstrip()


def _code(value: Any) -> Markup:
    text = str(value).lower() if isinstance(value, bool) else str(value)
    return Markup("<code>{}</code>").format(text)
