"""Rules that contradict each other only where they meet: an error of the document, found early.

A decision that rounds values needs limits that say where to round. Decision and limit may come from
different rules, and then each by itself is fine.
"""

from collections.abc import Iterable, Iterator, Sequence

from weighworthy_service.checks.flaws import Flaw
from weighworthy_service.profiles.decision_forms import rounding_flaws
from weighworthy_service.profiles.document import Rule, matches
from weighworthy_service.profiles.meaning import Judging
from weighworthy_service.profiles.overlap import Overlap


def meeting_flaws(
    rules: Sequence[Rule], inherited: int, kinds: Iterable[Judging]
) -> Iterator[Flaw]:
    """What contradicts between two rules that can be in force for one check.

    The first `inherited` rules are those of the parents, which are without flaws among themselves.
    Paths are from the root of the document that has the others.
    """
    told = set()
    overlap = Overlap(rules)
    for kind in kinds:
        here = [i for i, rule in enumerate(rules) if matches(rule.checks, kind.slug)]
        decides = _bits(i for i in here if rules[i].decision is not None)
        limits = {
            criterion: _bits(i for i in here if criterion.name in rules[i].limits)
            for criterion in kind.criteria
        }
        for i in here:
            decision = rules[i].decision
            if decision is None or decision.rounding != "rounding":
                continue
            for j in here:
                if max(i, j) < inherited or not overlap.may_meet(i, j):
                    continue
                # Later rules stand wherever these two meet, for what they set.
                shadowing = overlap.covering(i, j)
                if shadowing & decides & _after(i):
                    continue
                limited = {
                    criterion: rules[j].limits[criterion.name].limit
                    for criterion, by in limits.items()
                    if by >> j & 1 and not shadowing & by & _after(j)
                }
                at = (
                    ("rules", i - inherited, "decision", "rounding_to")
                    if i >= inherited
                    else ("rules", j - inherited, "limits")
                )
                for flaw in rounding_flaws(limited, rules[i].rounding_unit, at):
                    if flaw not in told:
                        told.add(flaw)
                        yield flaw


def _bits(positions: Iterable[int]) -> int:
    return sum(1 << position for position in positions)


def _after(position: int) -> int:
    """The bits of all later rules."""
    return -2 << position
