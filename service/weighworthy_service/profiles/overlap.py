"""Where rules can meet: what can be told of two lists of patterns without knowing any balance.

Both answers are on the safe side: `may_meet` is only False, and `covers` only True, where that is
certain.
"""

from collections.abc import Iterable
from fnmatch import fnmatchcase
from re import split

from weighworthy_service.profiles.document import SELECTORS, Patterns, Rule

# Which kind of check is meant is asked one by one: the kinds are known, unlike sites and balances.
_SELECTORS = tuple(name for name in SELECTORS if name != "checks")


def rules_may_meet(one: Rule, other: Rule) -> bool:
    """Whether some check could match both, the kind of check apart."""
    return all(may_meet(getattr(one, name), getattr(other, name)) for name in _SELECTORS)


def rule_covers(one: Rule, others: Iterable[Rule]) -> bool:
    """Whether `one` matches every check that matches all `others`, the kind of check apart."""
    others = tuple(others)
    return all(
        any(covers(getattr(one, name), getattr(other, name)) for other in others)
        for name in _SELECTORS
    )


def may_meet(one: Patterns, other: Patterns) -> bool:
    """Whether some value could match both lists."""
    if one is None or other is None:
        return True
    return any(_pair_may_meet(a, b) for a in one for b in other)


def covers(one: Patterns, other: Patterns) -> bool:
    """Whether `one` matches whatever `other` matches."""
    if one is None:
        return True
    if other is None:  # also matches a check that does not state the value
        return False
    return all(any(_pair_covers(a, b) for a in one) for b in other)


def _pair_may_meet(one: str, other: str) -> bool:
    if _is_exact(one):
        return fnmatchcase(one, other)
    if _is_exact(other):
        return fnmatchcase(other, one)
    (begin, end), (begins, ends) = _literal_ends(one), _literal_ends(other)
    return (begin.startswith(begins) or begins.startswith(begin)) and (
        end.endswith(ends) or ends.endswith(end)
    )


def _pair_covers(one: str, other: str) -> bool:
    return one in (other, "*") or (_is_exact(other) and fnmatchcase(other, one))


def _is_exact(pattern: str) -> bool:
    return not any(sign in pattern for sign in "*?[")


def _literal_ends(pattern: str) -> tuple[str, str]:
    """What everything that matches begins and ends with, as far as there are no signs."""
    # A "]" that closes nothing is a sign here too, which only makes the end shorter.
    begin, *_ = split(r"[*?[]", pattern, maxsplit=1)
    return begin, split(r"[]*?[]", pattern)[-1]
