"""What stands on a card in place of its steps where no display lets the balance be used."""

from collections.abc import Mapping
from typing import Any

_VOID = "Whatever the display shows, the check is void: neither passed nor failed."
_EITHER = (
    "Whatever the display shows, the check does not pass: within the limits it is void, outside "
    "of them still a fail."
)
_NOTHING = "The profile holds this check against no limit, so that it would show nothing."
_IMPOSSIBLE = "Nobody can do it as it is asked for."
_FAIL = "Every display fails, that of a balance in perfect order too: a fail says nothing here."


def stop(card: Mapping[str, Any]) -> dict[str, Any] | None:
    """Why not to start, in a few words and a sentence; None: the balance can pass."""
    if card["usable"]:
        return None
    best, spoils = card["at_best"], card["spoils"]
    if best is None:
        judged = spoils is not None
        title, text = ("cannot be done", _IMPOSSIBLE) if judged else ("judges nothing", _NOTHING)
    elif spoils == "no-pass":
        title, text = "cannot pass", _EITHER
    elif best == "void":
        title, text = "cannot count", _VOID
    elif best == "fail":
        title, text = "cannot pass", _FAIL
    else:
        said = best.replace("-", " ")
        title = "cannot let the balance be used"
        text = f"At best it gets a {said}, and under this profile that is not enough."
    return {"title": f"Do not start: this check {title}", "text": text, "best": best}


def reserve(card: Mapping[str, Any]) -> str | None:
    """What the best of a card that lets the balance be used lacks for a pass."""
    if not card["usable"] or card["can_pass"]:
        return None
    return f"At best this check gets a {card['at_best'].replace('-', ' ')}."
