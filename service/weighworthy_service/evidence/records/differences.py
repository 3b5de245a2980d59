"""Where two answers to the same request do not say the same."""

from collections.abc import Iterator
from decimal import Decimal
from itertools import zip_longest
from typing import Any, Final, NamedTuple

from weighworthy_service.json_document import pointer

# Between platforms, numbers of one engine revision agree to this share of themselves.
AGREEMENT: Final = Decimal("1e-9")
_SHOWN: Final = 200
_NONE: Final = object()


class Difference(NamedTuple):
    """One place; values that are no scalars are told by what they are. `missing`: where there is
    nothing at all, `recorded` or `recomputed`."""

    pointer: str
    recorded: Any
    recomputed: Any
    missing: str | None = None

    @property
    def of_numbers(self) -> bool:
        """Whether a number stands on one side at least, and nothing else on the other."""
        sides = (self.recorded, self.recomputed)
        return any(map(_is_number, sides)) and all(s is None or _is_number(s) for s in sides)

    @property
    def within_agreement(self) -> bool:
        """Whether both are numbers that differ no more than platforms do."""
        if not (_is_number(self.recorded) and _is_number(self.recomputed)):
            return False
        # As they are written: a unit in the last digit is what is meant.
        a, b = Decimal(repr(self.recorded)), Decimal(repr(self.recomputed))
        return abs(a - b) <= AGREEMENT * max(abs(a), abs(b))


def differences(
    recorded: Any, recomputed: Any, path: tuple[str | int, ...] = ()
) -> Iterator[Difference]:
    """Every difference of two JSON values, in the order of the recomputed one."""
    if isinstance(recorded, dict) and isinstance(recomputed, dict):
        names = [*recomputed, *(name for name in recorded if name not in recomputed)]
        for name in names:
            was, now = recorded.get(name, _NONE), recomputed.get(name, _NONE)
            yield from _below(was, now, (*path, name))
    elif isinstance(recorded, list) and isinstance(recomputed, list):
        pairs = zip_longest(recorded, recomputed, fillvalue=_NONE)
        for position, (was, now) in enumerate(pairs):
            yield from _below(was, now, (*path, position))
    elif not _same(recorded, recomputed):
        yield Difference(pointer(*path), _told(recorded), _told(recomputed))


def _below(was: Any, now: Any, path: tuple[str | int, ...]) -> Iterator[Difference]:
    if was is _NONE:
        yield Difference(pointer(*path), None, _told(now), "recorded")
    elif now is _NONE:
        yield Difference(pointer(*path), _told(was), None, "recomputed")
    else:
        yield from differences(was, now, path)


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _same(a: Any, b: Any) -> bool:
    if _is_number(a) and _is_number(b):
        return bool(a == b)
    return type(a) is type(b) and bool(a == b)


def _told(value: Any) -> Any:
    if isinstance(value, dict):
        return f"an object with {len(value)} members"
    if isinstance(value, list):
        return f"a list of {len(value)}"
    if isinstance(value, str) and len(value) > _SHOWN:
        return value[:_SHOWN] + "…"
    return value
