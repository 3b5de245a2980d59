"""Past checks under two sets of conditions: which verdicts would be others, and why."""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Any, Final

from marshmallow import ValidationError

from weighworthy_service.checks.flaws import Flaw, SenseError
from weighworthy_service.checks.outcome import VERDICTS, Evaluation
from weighworthy_service.checks.registry import KINDS
from weighworthy_service.checks.request import CheckRequest
from weighworthy_service.json_document import pointer
from weighworthy_service.metrology.weights import ReferenceWeight
from weighworthy_service.profiles.document import Profile
from weighworthy_service.profiles.errors import ProfileNotUsable
from weighworthy_service.profiles.finding import find_profile
from weighworthy_service.profiles.resolve import terms_for
from weighworthy_service.profiles.store import ProfileSet
from weighworthy_service.wire.coded import FieldError, field_errors

# Of a finding that comes or goes, so many requests are named; the count is of all.
NAMED: Final = 20
_KINDS: Final = {kind.slug: kind for kind in KINDS}


@dataclass(frozen=True, slots=True)
class Side:
    """One set of conditions: a profile in place of each request's own (None: its own), and weights
    in place of those of the same name."""

    profile: Profile | None = None
    weights: Mapping[str, ReferenceWeight] = field(default_factory=lambda: MappingProxyType({}))

    def applied(self, check: Any) -> Any:
        """The check with the weights of this side.

        Raises:
            SenseError: what it then says cannot be.
        """
        own = check.circumstances.weights
        weights = {name: self.weights.get(name, weight) for name, weight in own.items()}
        return replace(check, circumstances=replace(check.circumstances, weights=weights))


@dataclass(frozen=True, slots=True)
class Replayed:
    """One request under both sides, or what keeps it from being judged under one of them."""

    index: int
    labels: Mapping[str, str]
    check: str | None
    before: Evaluation | None = None
    after: Evaluation | None = None
    errors: tuple[FieldError, ...] = ()
    side: str | None = None

    @property
    def changed(self) -> bool:
        """Whether the verdict, that on the state as found, or the use that is let differs."""
        return (
            self.before is not None
            and self.after is not None
            and (_standing(self.before) != _standing(self.after))
        )


def _standing(evaluation: Evaluation) -> tuple[Any, ...]:
    return (evaluation.verdict, evaluation.verdict_as_found, evaluation.usable)


def replay(
    requests: Sequence[Mapping[str, Any]], before: Side, after: Side, profiles: ProfileSet
) -> Iterator[Replayed]:
    """Every request, in order; one that cannot be judged is told with its faults."""
    for index, document in enumerate(requests):
        yield _replayed(index, document, before, after, profiles)


def _replayed(
    index: int, document: Mapping[str, Any], before: Side, after: Side, profiles: ProfileSet
) -> Replayed:
    slug = document.get("check")
    kind = _KINDS.get(slug) if isinstance(slug, str) else None
    if kind is None:
        said = f"each request names its check, one of: {', '.join(_KINDS)}"
        return Replayed(index, {}, None, errors=(FieldError("/check", "not-one-of", said),))
    try:
        asked: CheckRequest = kind.form.load(document)
    except ValidationError as error:
        return Replayed(index, {}, slug, errors=tuple(field_errors(error.messages)))
    except SenseError as error:
        return Replayed(index, {}, slug, errors=_told(error.flaws))
    found = {}
    for name, side in (("before", before), ("after", after)):
        try:
            check = side.applied(asked.check)
            profile = side.profile or _own_profile(asked, profiles)
            found[name] = kind.evaluate(check, terms_for(profile, kind.slug, check.circumstances))
        except SenseError as error:
            errors = _told(error.flaws)
        except ValidationError as error:
            errors = tuple(field_errors(error.messages, ("profile",)))
        except ProfileNotUsable as error:
            errors = _told(error.flaws, ("profile",))
        else:
            continue
        return Replayed(index, asked.labels, slug, errors=errors, side=name)
    return Replayed(index, asked.labels, slug, found["before"], found["after"])


def _own_profile(asked: CheckRequest, profiles: ProfileSet) -> Profile:
    performed_at = asked.check.circumstances.performed_at
    return find_profile(asked.profile, profiles, performed_at.date() if performed_at else None)


def _told(flaws: Sequence[Flaw], under: tuple[str | int, ...] = ()) -> tuple[FieldError, ...]:
    return tuple(FieldError(pointer(*under, *f.path), f.code, f.detail) for f in flaws)


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
