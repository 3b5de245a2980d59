"""Which field a column may feed, by the words of its title. A first guess, shown as one."""

import re
from collections.abc import Iterator
from functools import cache
from typing import Any, Final

from weighworthy_service.checks.columns import (
    FLAG,
    NAME,
    NUMBER,
    ONE_OF,
    Columns,
    Guess,
    Sort,
    usual,
)
from weighworthy_service.checks.kind import Kind
from weighworthy_service.checks.registry import KINDS
from weighworthy_service.checks.request import CheckForm
from weighworthy_service.tables.looks import Look
from weighworthy_service.tables.request_fields import ANY_NAME, field_names, find_field
from weighworthy_service.wire.containers import ListOf, Part
from weighworthy_service.wire.fields import Count, Date, Flag, Instant, PureNumber, Quantity, Text

# What every check may state, in the order in which it is tried: those before the fields of the
# kind, the air, and those after them.
MOMENT: Final = Guess(
    "performed_at", "date|datum|time|zeit|uhr|when|performed|heure", ("time", "number")
)
_FIRST: Final = (Guess("instrument", "balance|instrument|device|analy[sz]er|waage|ger[aä]t", NAME),)
_AIR: Final = (
    Guess("environment.relative_humidity", "humidity|rel|rh|luftfeuchte", NUMBER),
    Guess("environment.pressure", "pressure|baro|luftdruck", NUMBER),
    Guess("environment.temperature", "temp|air|room|ambient|raum", NUMBER),
)
_LAST: Final = (
    Guess("warm_up", "warm|on for|aufw[aä]rm", NUMBER),
    Guess("performed_by", "operator|user|by\\b|analyst|who|name|bediener|pr[uü]fer", ONE_OF),
    Guess("method", "method|program", NAME),
    Guess("occasion", "occasion|reason|anlass|grund", ONE_OF),
)
_COMMON: Final = frozenset({*CheckForm().load_fields, "check"})
# Titles of columns that tell which rows belong together, and in which order.
RUN: Final = re.compile("run|series|check|test|lauf|serie|pr[uü]fung|essai", re.IGNORECASE)
POINT: Final = re.compile("point|no\\b|nr|num|step|round|punkt|schritt|runde", re.IGNORECASE)
KIND: Final = re.compile("test|check|kind|type|art|pr[uü]fung", re.IGNORECASE)

# What stands in a row that sums up others.
SUMMARY: Final = re.compile(
    r"((arithmetic |grand |sub)?(means?|totals?|averages?)|avg\.?|median|sums?|min(imum)?"
    r"|max(imum)?|s\.?d\.?|r\.?s\.?d\.?( ?%)?|std\.?( ?dev\.?)?|stdev|standard deviation|mw"
    r"|mittel(wert)?|standardabweichung|stabw\.?|summe|gesamt|moyenne|[eé]cart[ -]type|somme)[:.]?",
    re.IGNORECASE,
)


def fits(guess: Guess, look: Look) -> bool:
    """Whether a column may feed the field of a guess."""
    titled = re.search(rf"(?<![a-z])({guess.words})", look.title.casefold())
    return look.sort in guess.sorts and titled is not None


@cache
def guesses(kind: Kind) -> tuple[Guess, ...]:
    """For all fields but the time of the check, in the order in which they are tried."""
    own = _columns(kind).guesses
    early = [guess for guess in own if guess.early]
    return (*_FIRST, *early, *_AIR, *(guess for guess in own if not guess.early), *_LAST)


def named_kind(text: str) -> str | None:
    """The kind of check that a text names; None: of none, or of several."""
    found = [kind.slug for kind in KINDS if re.search(_columns(kind).named, text.casefold())]
    return found[0] if len(found) == 1 else None


def likely_check(titles: str) -> str | None:
    """The kind of check of which the titles speak most; None: of none, or of several alike."""
    hits = {kind.slug: len(re.findall(_columns(kind).hints, titles.casefold())) for kind in KINDS}
    best = max(hits.values())
    found = [check for check, count in hits.items() if count == best]
    return found[0] if best and len(found) == 1 else None


def usual_check() -> str:
    """The kind to begin with where nothing tells: the first with one check a row."""
    alone = (kind.slug for kind in KINDS if not lists_of(kind))
    return next(alone, KINDS[0].slug)


def lists_of(kind: Kind) -> tuple[str, ...]:
    """The lists of readings that every check of a kind has, one reading a row."""
    return tuple(
        field.data_key or name
        for name, field in kind.form.load_fields.items()
        if field.required and isinstance(field, ListOf) and isinstance(field.inner, Part)
    )


@cache
def _columns(kind: Kind) -> Columns:
    """What the kind says, and what its names say where it does not."""
    part = kind.part("columns")
    said: Columns = Columns() if part is None else part.COLUMNS
    own = "|".join(dict.fromkeys(_words(text) for text in (kind.slug, kind.title.casefold())))
    return Columns(said.guesses or tuple(_by_name(kind)), said.named or own, said.hints or own)


def _by_name(kind: Kind) -> Iterator[Guess]:
    """Names of more words first, so that none is taken for the begin of another."""
    names = [name for name in field_names(kind) if name.split(".")[0] not in _COMMON]
    for name in sorted(names, key=lambda name: -name.rpartition(".")[2].count("_")):
        sorts = _sorts(find_field(kind, name).form) if ANY_NAME not in name else ()
        guess = usual(name) or Guess(name, _words(name.rpartition(".")[2]), sorts)
        if sorts:
            yield guess


def _sorts(form: Any) -> tuple[Sort, ...]:
    """What cells of a field look like; of a time or day none, for the time of the check is one."""
    if isinstance(form, Instant | Date):
        return ()
    if isinstance(form, Quantity | PureNumber | Count):
        return NUMBER
    if isinstance(form, Flag):
        return FLAG
    return NAME if isinstance(form, Text | ListOf) else ONE_OF


def _words(name: str) -> str:
    return ".?".join(re.escape(word) for word in re.split(r"[-_ ]", name))
