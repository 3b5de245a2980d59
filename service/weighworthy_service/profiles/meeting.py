"""Rules that contradict each other only where they meet: an error of the document, found early.

A decision that rounds values needs limits that say where to round. Decision and limit may come from
different rules, and then each by itself is fine.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import partial

from weighworthy_service.checks.flaws import Flaw
from weighworthy_service.profiles.decision_forms import rounding_flaws
from weighworthy_service.profiles.document import Rule, matches
from weighworthy_service.profiles.meaning import Judging
from weighworthy_service.profiles.overlap import rule_covers, rules_may_meet


def meeting_flaws(
    rules: Sequence[Rule], inherited: int, kinds: Iterable[Judging]
) -> Iterator[Flaw]:
    """What contradicts between two rules that can be in force for one check.

    The first `inherited` rules are those of the parents, which are without flaws among themselves.
    Paths are from the root of the document that has the others.
    """
    told = set()
    for kind in kinds:
        here = [(i, rule) for i, rule in enumerate(rules) if matches(rule.checks, kind.slug)]
        for i, deciding in here:
            if deciding.decision is None or deciding.decision.rounding != "rounding":
                continue
            for j, limiting in here:
                if max(i, j) < inherited or not rules_may_meet(deciding, limiting):
                    continue
                if _shadowed(here, i, (deciding, limiting), lambda r: r.decision is not None):
                    continue
                limited = {
                    criterion: limiting.limits[criterion.name].limit
                    for criterion in kind.criteria
                    if criterion.name in limiting.limits
                    and not _shadowed(
                        here,
                        j,
                        (deciding, limiting),
                        partial(_limits, criterion.name),
                    )
                }
                at = (
                    ("rules", i - inherited, "decision", "rounding_to")
                    if i >= inherited
                    else ("rules", j - inherited, "limits")
                )
                for flaw in rounding_flaws(limited, deciding.rounding_unit, at):
                    if flaw not in told:
                        told.add(flaw)
                        yield flaw


def _limits(name: str, rule: Rule) -> bool:
    return name in rule.limits


def _shadowed(
    here: Sequence[tuple[int, Rule]],
    position: int,
    meeting: Sequence[Rule],
    sets: Callable[[Rule], bool],
) -> bool:
    """Whether a later rule sets the same wherever these rules meet."""
    return any(k > position and sets(rule) and rule_covers(rule, meeting) for k, rule in here)
