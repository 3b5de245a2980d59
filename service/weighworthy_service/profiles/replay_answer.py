"""What a replay says of past checks: counts, what changed, and what could not be judged."""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

from weighworthy_service.checks.outcome import VERDICTS, Evaluation
from weighworthy_service.profiles.replay import Replayed

# Of a finding that comes or goes, so many requests are named; the count is of all.
NAMED: Final = 20


def verdicts_document(replayed: Sequence[Replayed], unmet: Mapping[str, Sequence[str]]) -> Any:
    """What the answer says of past checks: every request is counted in one place.

    `unmet`: names of weights by side that no request has.
    """
    changed = [r for r in replayed if r.changed]
    refused = [r for r in replayed if r.errors]
    same = [r for r in replayed if not r.changed and not r.errors]
    return {
        "requests": len(replayed),
        "changed": len(changed),
        "unchanged": len(same),
        "refused": len(refused),
        "counts": _counted(map(_transition, changed)),
        "unchanged_counts": _counted(_word(r.before.verdict) for r in same if r.before),
        "changes": [_change(r) for r in changed],
        "findings": _findings(replayed),
        "refusals": [_refusal(r) for r in refused],
        "weights_not_met": {side: list(names) for side, names in unmet.items()},
    }


def _counted(words: Iterator[str]) -> dict[str, int]:
    return dict(sorted(Counter(words).items(), key=lambda item: (-item[1], item[0])))


def _word(verdict: str | None) -> str:
    return verdict or "not judged"


def _transition(r: Replayed) -> str:
    assert r.before is not None  # noqa: S101  asked of what was judged on both sides
    assert r.after is not None  # noqa: S101
    if r.before.verdict != r.after.verdict:
        return f"{_word(r.before.verdict)} -> {_word(r.after.verdict)}"
    one, two = r.before.verdict_as_found, r.after.verdict_as_found
    if one != two:
        return f"as found: {_word(one)} -> {_word(two)}"
    return f"{_word(r.before.verdict)}: use is {'let' if r.after.usable else 'no longer let'}"


def _change(r: Replayed) -> dict[str, Any]:
    assert r.before is not None  # noqa: S101  asked of what was judged on both sides
    assert r.after is not None  # noqa: S101
    appeared, gone = _difference(r)
    return {
        "index": r.index,
        "labels": dict(r.labels),
        "check": r.check,
        "before": r.before.verdict,
        "after": r.after.verdict,
        "as_found_before": r.before.verdict_as_found,
        "as_found_after": r.after.verdict_as_found,
        "usable_before": r.before.usable,
        "usable_after": r.after.usable,
        "criterion": _decisive(r.before, r.after),
        "findings_appeared": sorted({code for code, *_ in appeared}),
        "findings_gone": sorted({code for code, *_ in gone}),
    }


def _decisive(before: Evaluation, after: Evaluation) -> str | None:
    """The criterion whose own verdict differs, the worst of several; None: a condition did it."""
    earlier = {c.key: c.verdict for c in before.criteria}
    now = {c.key: c.verdict for c in after.criteria}
    keys = [key for key in {**earlier, **now} if earlier.get(key) != now.get(key)]

    def badness(key: str) -> int:
        return max(VERDICTS.index(v) for v in (earlier.get(key), now.get(key)) if v is not None)

    return max(keys, key=badness, default=None)


def _difference(r: Replayed) -> tuple[set[Any], set[Any]]:
    assert r.before is not None  # noqa: S101  asked of what was judged on both sides
    assert r.after is not None  # noqa: S101
    earlier, now = (
        {(f.code, f.severity, f.field) for f in e.findings} for e in (r.before, r.after)
    )
    return now - earlier, earlier - now


def _findings(replayed: Sequence[Replayed]) -> list[dict[str, Any]]:
    """Findings that come or go, also where no verdict changes."""
    where: dict[tuple[str, str, str], list[int]] = {}
    for r in replayed:
        if r.before is None or r.after is None:
            continue
        for change, found in zip(("appeared", "gone"), _difference(r), strict=True):
            for code, severity in sorted({(code, severity) for code, severity, _ in found}):
                where.setdefault((change, code, severity), []).append(r.index)
    return [
        {
            "code": code,
            "severity": severity,
            "change": change,
            "requests": len(indexes),
            "indexes": indexes[:NAMED],
        }
        for (change, code, severity), indexes in sorted(where.items())
    ]


def _refusal(r: Replayed) -> dict[str, Any]:
    return {
        "index": r.index,
        "labels": dict(r.labels),
        "check": r.check,
        "side": r.side,
        "errors": [{"pointer": e.pointer, "code": e.code, "detail": e.detail} for e in r.errors],
    }
