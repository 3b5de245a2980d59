"""A bench card as plain text: fixed pitch, 80 columns."""

from collections.abc import Iterator, Mapping, Sequence
from textwrap import wrap
from typing import Any, Final

from weighworthy_service.evidence.card_view import card_view

WIDTH: Final = 80
# Told apart by their shape, as in print there may be no colour.
SIGNS: Final[Mapping[str, str]] = {
    "pass": "[OK]",
    "conditional-pass": "[ok?]",
    "conditional-fail": "[no?]",
    "fail": "[NO]",
}


def card_text(card: Mapping[str, Any]) -> str:
    """The card as text, lines ending in a line feed."""
    return "\n".join(line.rstrip() for line in _lines(card_view(card))) + "\n"


def _lines(view: Mapping[str, Any]) -> Iterator[str]:
    card = view["card"]
    yield from _head(card, view)
    yield from _listed("BEFORE", card["conditions"])
    if not card["can_pass"]:
        title = "NO DISPLAY PASSES WITH THESE WEIGHTS UNDER THIS PROFILE"
        yield from _listed(title, card["obstacles"], "! ")
    yield "STEPS"
    for position, step in enumerate(view["steps"], start=1):
        yield from _step(position, step)
    if view["combined"]:
        together = "; ".join(view["combined"])
        yield from _wrapped(f"Evaluated from all readings together: {together}.", "   ")
    yield ""
    for verdict in view["verdicts"]:
        text = f"{verdict['word']}: {verdict['text']}"
        yield from _wrapped(text, f"{SIGNS[verdict['verdict']]:<6}")
    yield ""
    yield "IF IT DOES NOT PASS"
    for position, rung in enumerate(card["response"], start=1):
        yield from _wrapped(rung["text"], f"{position}. ")
    yield ""
    yield from _listed("CAUTIONS", card["cautions"])
    warnings = [warning["message"] for warning in card["warnings"]]
    yield from _listed("FOR THE PERSON RESPONSIBLE", warnings)
    yield "-" * WIDTH
    profile, engine = card["profile"], card["engine"]
    for text in view["decided"]:
        yield from _wrapped(text)
    yield from _wrapped(f"profile {profile['id']}@{profile['revision']} {profile['digest']}")
    yield f"weighworthy {engine['version']}, engine revision {engine['revision']}"


def _head(card: Mapping[str, Any], view: Mapping[str, Any]) -> Iterator[str]:
    instrument = card["instrument"]
    yield "=" * WIDTH
    title, who = f"BENCH CARD: {card['title'].upper()}", instrument["id"] or "balance without id"
    yield from _apart(title, who)
    yield from _wrapped(", ".join(v for v in (instrument["model"], instrument["site"]) if v))
    yield "=" * WIDTH
    yield from _wrapped("; ".join(f"{name}: {value}" for name, value in view["about"]))
    yield from _wrapped(f"Weights: {', '.join(map(_weight, card['weights']))}")
    yield ""


def _step(position: int, step: Mapping[str, Any]) -> Iterator[str]:
    yield from _wrapped(step["text"], f"{position}. ")
    for line in step["lines"]:
        yield from _wrapped(f"{line['label']}:", "   ")
        for band in line["bands"]:
            yield from _wrapped(
                f"{band['word']}: {band['text']}", f"     {SIGNS[band['verdict']]:<6}"
            )
    if step["table"] is not None:
        yield from _table(step["table"])


def _listed(title: str, texts: Sequence[str], begin: str = "- ") -> Iterator[str]:
    if texts:
        yield title
        for text in texts:
            yield from _wrapped(text, begin)
        yield ""


def _table(table: Mapping[str, Any]) -> Iterator[str]:
    heads = [row["head"] for row in table["rows"]]
    width = min(34, max(len(table["head"]), *map(len, heads)))
    yield f"   {table['head']:<{width}}  {table['what'][0].upper()}{table['what'][1:]}"
    for row in table["rows"]:
        # A long head gets lines of its own, so that no digit is ever cut.
        *more, head = wrap(row["head"], width) or [""]
        yield from (f"   {line}" for line in more)
        for verdict in (of["verdict"] for of in table["verdicts"]):
            if verdict in row["texts"]:
                text = f"{SIGNS[verdict]:<6}{row['texts'][verdict]}"
                yield from _wrapped(text, f"   {head:<{width}}  ")
                head = ""
    if table["note"] is not None:
        yield from _wrapped(table["note"], "   ")


def _weight(weight: Mapping[str, Any]) -> str:
    more = [weight["nominal"], weight["weight_class"], weight["certificate"]]
    return f"{weight['name']} ({', '.join(part for part in more if part)})"


def _apart(left: str, right: str) -> Iterator[str]:
    if len(left) + 1 + len(right) > WIDTH:
        yield from (*_wrapped(left), *_wrapped(right))
    else:
        yield left + right.rjust(WIDTH - len(left))


def _wrapped(text: str, begin: str = "") -> Iterator[str]:
    yield from wrap(text, WIDTH, initial_indent=begin, subsequent_indent=" " * len(begin)) or [
        begin
    ]
