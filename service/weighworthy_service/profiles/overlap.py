"""Where rules can meet: what can be told of two lists of patterns without knowing any balance.

Both answers are on the safe side: that two do not meet, and that one covers the other, is only
said where it is certain.
"""

import re
from collections.abc import Iterator, Sequence
from fnmatch import translate
from functools import cached_property
from typing import Final

from weighworthy_service.checks.flaws import Flaw
from weighworthy_service.profiles.document import SELECTORS, Patterns, Rule

# Every name is held against every pattern, of a profile and what it builds on together.
MAX_NAMES: Final = 4000
MAX_PATTERNS: Final = 400
# Which kind of check is meant is asked one by one: the kinds are known, unlike sites and balances.
_SELECTORS: Final = tuple(name for name in SELECTORS if name != "checks")


class Overlap:
    """What rules have in common, by their positions, the kind of check apart.

    Rules are many and lists of patterns few: what was found out once of two lists is kept.
    """

    def __init__(self, rules: Sequence[Rule]) -> None:
        self._selectors = [_Selector([getattr(r, name) for r in rules]) for name in _SELECTORS]

    def may_meet(self, one: int, other: int) -> bool:
        """Whether some check could match both rules."""
        return all(selector.may_meet(one, other) for selector in self._selectors)

    def covering(self, *met: int) -> int:
        """The rules, as bits, that match every check that matches all of these."""
        found = -1
        for selector in self._selectors:
            by_this = 0
            for one in met:
                by_this |= selector.covering(one)
            found &= by_this
        return found


def extent_flaws(rules: Sequence[Rule]) -> Iterator[Flaw]:
    """More names and patterns than can be held against each other in a short time."""
    lists = [given for r in rules for name in SELECTORS if (given := getattr(r, name)) is not None]
    globs = sum(not _is_exact(one) for given in lists for one in given)
    names = sum(map(len, lists)) - globs
    for number, most, what in ((names, MAX_NAMES, "names"), (globs, MAX_PATTERNS, "patterns")):
        if number > most:
            said = (
                f"rules select by {number} {what}, with what the profile builds on; at most {most}"
            )
            yield Flaw(("rules",), "too-many", said)


def may_meet(one: Patterns, other: Patterns) -> bool:
    """Whether some value could match both lists."""
    return one is None or other is None or _Listed(one).may_meet(_Listed(other))


def covers(one: Patterns, other: Patterns) -> bool:
    """Whether `one` matches whatever `other` matches."""
    if one is None or other is None:  # without a list, also a check that does not state the value
        return one is None
    return _Listed(one).covers(_Listed(other))


class _Listed:
    """One list of names and patterns."""

    def __init__(self, patterns: Sequence[str]) -> None:
        self._all = frozenset(patterns)
        self._names = frozenset(filter(_is_exact, patterns))
        self._globs = self._all - self._names

    def may_meet(self, other: "_Listed") -> bool:
        return (
            not self._names.isdisjoint(other._names)
            or any(map(self._fits, other._names))
            or any(map(other._fits, self._names))
            or any(_may_meet(a, b) for a in self._ends for b in other._ends)
        )

    def covers(self, other: "_Listed") -> bool:
        if "*" in self._globs:
            return True
        left = other._all - self._all
        return left <= other._names and all(map(self._fits, left))

    def _fits(self, name: str) -> bool:
        """Whether one of the patterns that are no names matches."""
        return self._globs != frozenset() and self._any_glob.match(name) is not None

    @cached_property
    def _any_glob(self) -> re.Pattern[str]:
        return re.compile("|".join(map(translate, sorted(self._globs))))

    @cached_property
    def _ends(self) -> frozenset[tuple[str, str]]:
        return frozenset(map(_literal_ends, self._globs))


class _Selector:
    """One selector of many rules; each different list has a number."""

    def __init__(self, lists: Sequence[Patterns]) -> None:
        numbers: dict[Patterns, int] = {}
        self._number = [numbers.setdefault(given, len(numbers)) for given in lists]
        self._listed = [None if given is None else _Listed(given) for given in numbers]
        self._rules = [0] * len(numbers)
        for position, number in enumerate(self._number):
            self._rules[number] |= 1 << position
        self._met: dict[tuple[int, int], bool] = {}
        self._covered: dict[int, int] = {}

    def may_meet(self, one: int, other: int) -> bool:
        a, b = self._number[one], self._number[other]
        if a > b:
            a, b = b, a
        found = self._met.get((a, b))
        if found is None:
            this, that = self._listed[a], self._listed[b]
            found = a == b or this is None or that is None or this.may_meet(that)
            self._met[a, b] = found
        return found

    def covering(self, one: int) -> int:
        number = self._number[one]
        if number not in self._covered:
            that = self._listed[number]
            self._covered[number] = sum(
                rules
                for this, rules in zip(self._listed, self._rules, strict=True)
                if this is None or (that is not None and this.covers(that))
            )
        return self._covered[number]


def _may_meet(one: tuple[str, str], other: tuple[str, str]) -> bool:
    (begin, end), (begins, ends) = one, other
    return (begin.startswith(begins) or begins.startswith(begin)) and (
        end.endswith(ends) or ends.endswith(end)
    )


def _is_exact(pattern: str) -> bool:
    return not any(sign in pattern for sign in "*?[")


def _literal_ends(pattern: str) -> tuple[str, str]:
    """What everything that matches begins and ends with, as far as there are no signs."""
    # A "]" that closes nothing is a sign here too, which only makes the end shorter.
    begin, *_ = re.split(r"[*?[]", pattern, maxsplit=1)
    return begin, re.split(r"[]*?[]", pattern)[-1]
