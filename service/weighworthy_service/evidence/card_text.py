"""A bench card as plain text: fixed pitch, 80 columns."""

from collections.abc import Iterator, Mapping, Sequence
from textwrap import wrap
from typing import Any, Final

from weighworthy_service.evidence.card_view import card_view, weight_text

WIDTH: Final = 80
# Told apart by their shape, as in print there may be no colour.
SIGNS: Final[Mapping[str, str]] = {
    "pass": "[OK]",
    "conditional-pass": "[ok?]",
    "conditional-fail": "[no?]",
    "fail": "[NO]",
    "void": "[--]",
}


def card_text(card: Mapping[str, Any]) -> str:
    """The card as text, lines ending in a line feed."""
    return "\n".join(line.rstrip() for line in _lines(card_view(card))) + "\n"


def _lines(view: Mapping[str, Any]) -> Iterator[str]:
    card = view["card"]
    yield from _head(card, view)
    if view["stop"] is not None:
        yield from _stopped(card, view["stop"])
    else:
        yield from _working(card, view)
    yield from _listed("CAUTIONS", card["cautions"])
    warnings = [warning["message"] for warning in card["warnings"]]
    yield from _listed("FOR THE PERSON RESPONSIBLE", warnings)
    yield "-" * WIDTH
    profile, engine = card["profile"], card["engine"]
    for row in view["decided"]:
        yield from _wrapped(f"{row['name']}: {row['limits']}; {row['more']}", "", "  ")
    title = f" ({card['profile_title']})" if card["profile_title"] else ""
    digest = f"{profile['id']}@{profile['revision']}{title} {profile['digest']}"
    yield from _wrapped(f"profile {digest}", "", "  ")
    yield f"weighworthy {engine['version']}, engine revision {engine['revision']}"


def _stopped(card: Mapping[str, Any], stop: Mapping[str, Any]) -> Iterator[str]:
    yield "#" * WIDTH
    yield from _wrapped(stop["title"].upper(), "# ")
    yield "#" * WIDTH
    yield from _wrapped(stop["text"])
    yield ""
    yield from _listed("WHY", card["obstacles"])
    yield "WHAT TO DO"
    for position, text in enumerate(card["remedies"], start=1):
        yield from _wrapped(text, f"{position}. ")
    yield ""


def _working(card: Mapping[str, Any], view: Mapping[str, Any]) -> Iterator[str]:
    if view["reserve"] is not None:
        yield from _listed(view["reserve"].upper(), card["obstacles"], "! ")
    yield from _listed("BEFORE", card["conditions"])
    yield "STEPS"
    for position, step in enumerate(view["steps"], start=1):
        yield from _step(position, step)
    if view["combined"]:
        yield from _wrapped(view["together"], "   ")
        for text in view["combined"]:
            yield from _wrapped(text, "   - ")
    yield ""
    for verdict in view["verdicts"]:
        text = f"{verdict['word']}: {verdict['text']}"
        yield from _wrapped(text, f"{SIGNS[verdict['verdict']]:<6}")
    yield ""
    yield "IF IT DOES NOT PASS"
    for position, rung in enumerate(card["response"], start=1):
        yield from _wrapped(rung["text"], f"{position}. ")
    yield ""


def _head(card: Mapping[str, Any], view: Mapping[str, Any]) -> Iterator[str]:
    instrument = card["instrument"]
    yield "=" * WIDTH
    title, who = f"BENCH CARD: {card['title'].upper()}", instrument["id"] or "balance without id"
    yield from _apart(title, who)
    yield from _wrapped(", ".join(v for v in (instrument["model"], instrument["site"]) if v))
    yield "=" * WIDTH
    yield from _wrapped("; ".join(f"{name}: {value}" for name, value in view["about"]))
    if card["weights"]:
        yield from _wrapped(f"Weights: {'; '.join(map(weight_text, card['weights']))}", "", "  ")
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


def _apart(left: str, right: str) -> Iterator[str]:
    if len(left) + 1 + len(right) > WIDTH:
        yield from (*_wrapped(left), *_wrapped(right))
    else:
        yield left + right.rjust(WIDTH - len(left))


def _wrapped(text: str, begin: str = "", then: str | None = None) -> Iterator[str]:
    more = " " * len(begin) if then is None else then
    yield from wrap(text, WIDTH, initial_indent=begin, subsequent_indent=more) or [begin]
