"""What can be told of a document's meaning where its form is wrong elsewhere.

A misspelt word in one rule must not hide the faults of the others until it is mended.
"""

from collections.abc import Iterable, Iterator, Mapping
from typing import Any, Final

from marshmallow import ValidationError

from weighworthy_service.checks.flaws import Flaw
from weighworthy_service.profiles.meaning import Judging, flaws_of
from weighworthy_service.wire.coded import Coded, nearest
from weighworthy_service.wire.profile import ProfileSchema

_SCHEMA: Final = ProfileSchema()
# Stands for what is wrong itself, and what no flaw depends on.
_NAMED: Final = {"id": "x", "revision": "x"}
_MAX_NAME: Final = 64


def flaws_beside(
    document: Mapping[str, Any], messages: Mapping[str, Any], kinds: Iterable[Judging]
) -> Iterator[Flaw]:
    """Flaws of all rules without faults of form, and unknown criteria of the others.

    `messages` are those of the form, by key.
    """
    rules, faulty = document.get("rules"), messages.get("rules", {})
    if not isinstance(rules, list) or not isinstance(faulty, dict):
        return
    kinds = tuple(kinds)
    sound = [i for i in range(len(rules)) if i not in faulty]
    rest = {key: value for key, value in document.items() if key not in (*messages, "extends")}
    try:
        data = _SCHEMA.load({**_NAMED, **rest, "rules": [rules[i] for i in sound] or [{}]})
    except ValidationError:  # a rule whose place is no plain position
        return
    for flaw in flaws_of(data, kinds):
        path = flaw.path
        if path[0] == "rules" and len(path) > 1:
            path = ("rules", sound[int(path[1])], *path[2:])
        yield Flaw(path, flaw.code, flaw.detail)
    known = tuple(criterion.name for kind in kinds for criterion in kind.criteria)
    for i in faulty:
        limits = rules[i].get("limits") if isinstance(rules[i], dict) else None
        for name in limits if isinstance(limits, dict) else ():
            if name not in known:
                short = name[:_MAX_NAME]
                said = f"{short!r} is no criterion here{nearest(short, known)}"
                yield Flaw(("rules", i, "limits", name), "unknown-criterion", said)


def as_messages(flaw: Flaw) -> Any:
    """A flaw in the form of a fault of form, so that both can be told together."""
    tree: Any = [Coded(flaw.code, flaw.detail)]
    for key in reversed(flaw.path):
        tree = {key: tree}
    return tree
