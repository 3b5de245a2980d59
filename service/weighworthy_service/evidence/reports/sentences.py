"""Sentences of the engine in another language: found again by their templates, values put in anew.

Answers hold finished sentences, and a report may be drawn from an answer of years ago. So each is
matched with the templates of the catalogue; what none fits stays English. A value may be a sentence
itself and is then translated too.
"""

import re
from collections.abc import Callable, Mapping
from datetime import date, datetime
from decimal import Decimal
from functools import cache, lru_cache
from typing import Final, NamedTuple

from weighworthy_service.evidence.reports.words import SAID, Words, messages, words

_NAME: Final = re.compile(r"\{(\w*)(?::[^{}]*)?\}")
_ADJACENT: Final = re.compile(r"\{(\w+)\}(?:\{\w+\})+")
_INSTANT: Final = r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}(?:\.[0-9]{1,6})?"
_OFFSET: Final = r"(?:Z|[+-][0-9]{2}:[0-9]{2})"
_INSTANTS: Final = re.compile(rf"\b{_INSTANT}{_OFFSET}(?![0-9:])")
_LAST_INSTANT: Final = re.compile(rf"(.+) ({_INSTANT}{_OFFSET})")
_NAMED: Final = re.compile(r"([^ ]+): (.+)", re.DOTALL)
_UNITS: Final = "(?:g|mg|%|K|Cel|°C|min|h|s)(?:/h)?"
_NUMBER: Final = re.compile(rf"(-?[0-9]{{1,15}}(?:\.[0-9]{{1,15}})?)( (?:{_UNITS}|days))?")
_UNIT: Final = re.compile(rf"(?<=[0-9]) (?={_UNITS}(?![A-Za-z]))")
_DAY: Final = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
# Longer is no sentence of ours; and sentences stand within each other no deeper.
_LONGEST: Final = 2000
_DEEPEST: Final = 4


class _Template(NamedTuple):
    """A sentence with its names, and the same in the other language."""

    pattern: re.Pattern[str]
    names: tuple[str, ...]
    translation: str


def said(message: str, language: str) -> str:
    """The sentence in a language, and its times in the form of that language."""
    return _instants(_translated(message, language), words(language))


def sentence(message: str, language: str) -> str:
    """The same as it stands by itself: it begins with a capital, unless it begins with a name, and
    no line break parts a number from its unit."""
    text = _UNIT.sub("\N{NO-BREAK SPACE}", said(message, language))
    first = text.partition(" ")[0]
    plain = first.replace("-", "").isalpha() and first.islower()
    return text[0].upper() + text[1:] if plain else text


def literals(template: str) -> str:
    """What of a template is no value."""
    return _NAME.sub("", template)


@lru_cache(maxsize=4096)
def _translated(message: str, language: str, depth: int = 0) -> str:
    if language == "en" or not message.strip() or len(message) > _LONGEST or depth > _DEEPEST:
        return message
    known, templates = _of(language)
    if message in known:
        return known[message]

    def value(text: str) -> str:
        return _value(text, language, depth + 1)

    for template in templates:
        if found := template.pattern.fullmatch(message):
            values = dict(zip(template.names, map(value, found.groups()), strict=True))
            return _filled(template.translation, values)
    return _in_parts(message, known, value)


def _filled(template: str, values: Mapping[str, str]) -> str:
    return _NAME.sub(lambda name: values.get(name[1], name[0]), template)


def _in_parts(message: str, known: dict[str, str], value: Callable[[str], str]) -> str:
    """A name and a sentence, a sentence and a time, or two sentences, each by itself."""
    if named := _NAMED.fullmatch(message):
        return f"{value(named[1])}: {value(named[2])}"
    if dated := _LAST_INSTANT.fullmatch(message):
        return f"{value(dated[1])} {dated[2]}"
    for last, translation in known.items():
        if " " in last and message.endswith(f" {last}"):
            return f"{value(message.removesuffix(f' {last}'))} {translation}"
    return message


def _value(text: str, language: str, depth: int) -> str:
    of_language = words(language)
    if found := _NUMBER.fullmatch(text):
        places = len(found[1].partition(".")[2])
        unit = (found[2] or "").replace("days", of_language.text("days"))
        return of_language.number(Decimal(found[1]), places) + unit
    if _DAY.fullmatch(text):
        try:
            return of_language.day(date.fromisoformat(text))
        except ValueError:
            return text
    inside = text.strip()
    if not inside:
        return text
    if ", " in inside and inside not in _of(language)[0]:
        parts = [_translated(part, language, depth) for part in inside.split(", ")]
        whole = _translated(inside, language, depth)
        translated = whole if whole != inside else ", ".join(parts)
    else:
        translated = _translated(inside, language, depth)
    if translated == inside:
        # As a template may begin or end with the blank that parts it from what is beside.
        return _translated(text, language, depth)
    return text.replace(inside, translated)


def _instants(text: str, of_language: Words) -> str:
    def shown(found: re.Match[str]) -> str:
        try:
            return of_language.instant(datetime.fromisoformat(found[0]))
        except ValueError:
            return found[0]

    return _INSTANTS.sub(shown, text)


@cache
def _of(language: str) -> tuple[dict[str, str], tuple[_Template, ...]]:
    """Sentences without values, and templates with the most words first."""
    engine = {m: text for (context, m), text in messages(language).items() if context == SAID}
    known = {message: text for message, text in engine.items() if not _NAME.search(message)}
    ordered = sorted(engine.keys() - known.keys(), key=lambda m: (-len(literals(m)), m))
    return known, tuple(_template(message, engine[message]) for message in ordered)


def _template(message: str, translation: str) -> _Template:
    # What stands side by side cannot be told apart: the first name takes the place of all.
    whole = _ADJACENT.sub(r"{\1}", message)
    taken = set(_NAME.findall(message)) - set(_NAME.findall(whole))
    other = _NAME.sub(lambda name: "" if name[1] in taken else name[0], translation)
    between = map(re.escape, _NAME.split(whole)[::2])
    return _Template(re.compile("(.*?)".join(between)), tuple(_NAME.findall(whole)), other)
