"""How large a card can be set so that it stays on one page of paper.

A page without script cannot measure itself, so its height is estimated from the lengths of its
texts, in mm, with the measures of its style sheet in print.
"""

import re
from collections.abc import Iterable, Mapping
from math import ceil
from typing import Any, Final

from weighworthy_service.evidence.card_view import weight_text

View = Mapping[str, Any]

# Best first; the style sheet has the same. Below the last a card goes on over further pages.
SIZES: Final = (1.2, 1.1, 1.0, 0.9, 0.8, 0.7, 0.6, 0.5)

# What both A4 and letter have room for within the margins. The measures below are ample, so that
# estimates lie some hundredths above what a page really takes.
_WIDTH, _HEIGHT = 182.0, 257.0
# Letters about twice as wide as others.
_WIDE: Final = re.compile("[MWmw@%\u2e80-\uffff\U00010000-\U0010ffff]")
# Line height and mean width of a letter.
_TEXT = (4.27, 1.6)
_SMALL = (3.45, 1.3)
_LARGE = (5.3, 2.05)
_MAIN = (6.2, 2.4)
_ID, _LONG_ID = (6.8, 3.9), (5.1, 3.0)
_HEADING = 8.6
# An id of more letters is set smaller.
LONG_ID: Final = 24


def page_size(view: View) -> int:
    """The position in `SIZES` of the largest that leaves all on a page; the last, if none does."""
    for position, size in enumerate(SIZES):
        if _height(view, _WIDTH / size) <= _HEIGHT / size:
            return position
    return len(SIZES) - 1


def _height(view: View, width: float) -> float:
    body = _stopped(view, width) if view["stop"] is not None else _working(view, width)
    return _top(view, width) + body + _foot(view, width)


def _lines(text: str, width: float, font: tuple[float, float] = _TEXT) -> float:
    """A wrapped text."""
    height, letter = font
    # The mean has the few that usual texts have.
    wide = max(0, len(_WIDE.findall(text)) - len(text) // 12)
    letters = len(text) + wide
    return height * max(1, ceil(letters * letter / width))


def _list(texts: Iterable[str], width: float, font: tuple[float, float] = _TEXT) -> float:
    return sum(_lines(text, width - 5, font) + 0.6 for text in texts)


def _top(view: View, width: float) -> float:
    instrument = view["card"]["instrument"]
    name, room = instrument["id"] or "Balance without id", 0.6 * width
    who = _lines(name, room, _ID if len(name) <= LONG_ID else _LONG_ID)
    who += _lines(f"{instrument['model']}, {instrument['site']}", room)
    about = sum(_lines(f"{name}: {value}      ", width) / 2 for name, value in view["about"])
    return max(13.0, who) + 4 + about + _TEXT[0]


def _foot(view: View, width: float) -> float:
    card = view["card"]
    texts = [f"{row['name']}: {row['limits']}; {row['more']}" for row in view["decided"]]
    texts += ["; ".join(warning["message"] for warning in card["warnings"])]
    texts += [f"{card['profile_title']}{card['profile']['id']}" + 160 * "x"]
    return 4 + sum(_lines(text, width, _SMALL) for text in texts)


def _stopped(view: View, width: float) -> float:
    card = view["card"]
    said = [*card["obstacles"], *card["remedies"]]
    weights = _lines("; ".join(map(weight_text, card["weights"])), width) + 4
    listed = _list(said, width, _LARGE) + 1.2 * len(said)
    return 28 + 4 * _HEADING + listed + weights + _list(card["cautions"], width, _SMALL)


def _working(view: View, width: float) -> float:
    card = view["card"]
    total = 2 * _HEADING + _list(card["conditions"], width / 2) / 2 + _TEXT[0]
    total += _lines("; ".join(map(weight_text, card["weights"])), width - 5)
    if view["reserve"] is not None:
        total += 13 + _list(card["obstacles"], width - 7)
    total += sum(_step(step, width - 9) for step in view["steps"])
    total += sum(_lines(text, width, _SMALL) for text in (*view["combined"], view["together"]))
    total += sum(_lines(of["word"] + of["text"], width) / 2 + 1 for of in view["verdicts"]) + 4
    rungs = _list((rung["text"] for rung in card["response"]), width / 2 - 6)
    cautions = _list(card["cautions"], width / 2 - 6, _SMALL)
    return total + _HEADING + max(rungs, cautions)


def _step(step: View, width: float) -> float:
    height = max(6.6, _lines(step["text"], width)) + 0.9
    for line in step["lines"]:
        height += 3.2 + _lines(line["label"], width - 7)
        for position, band in enumerate(line["bands"]):
            font = _TEXT if position else _MAIN
            height += _lines(band["word"] + band["text"], width - 14, font)
    return height if step["table"] is None else height + _table(step["table"], width)


def _table(table: View, width: float) -> float:
    letter = _TEXT[1]
    columns = [
        4 + letter * max(len(row["texts"].get(of["verdict"], "")) for row in table["rows"])
        for of in table["verdicts"]
    ]
    head = max(28.0, width - sum(columns))
    rows = sum(max(5.5, _lines(row["head"], head - 4) + 0.9) for row in table["rows"])
    return 8 + rows
