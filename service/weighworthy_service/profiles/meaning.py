"""What keeps a profile document of the right form from meaning anything: all of it at once."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from difflib import get_close_matches
from typing import Any, Final, Protocol

from weighworthy_service.checks.circumstances import OCCASIONS
from weighworthy_service.checks.flaws import Flaw
from weighworthy_service.checks.limit_words import listed
from weighworthy_service.checks.outcome import CriterionName
from weighworthy_service.profiles.decision_forms import decision_flaws
from weighworthy_service.profiles.document import JUDGED_STAGES, SELECTORS, matches
from weighworthy_service.profiles.limit_forms import Form, Path, limit_flaws

# From best to worst; a fail and a void never let an instrument be used.
_USE_ON: Final = ("pass", "conditional-pass", "conditional-fail")
# What is asked of the check as a whole, so that no single stage can have its own.
_OF_THE_WHOLE: Final = ("warm_up", "rounds", "stable", "weights_in_date", "weights_in_class")


class Judging(Protocol):
    """What a profile has to know of a kind of check."""

    @property
    def slug(self) -> str: ...
    @property
    def criteria(self) -> Sequence[CriterionName]: ...
    @property
    def settings(self) -> Sequence[str]: ...
    @property
    def staged(self) -> bool: ...


def flaws_of(data: Mapping[str, Any], kinds: Iterable[Judging]) -> Iterator[Flaw]:
    """Every flaw of a loaded document, with paths from its root."""
    kinds = tuple(kinds)
    begin, end = data.get("effective_from"), data.get("effective_to")
    if begin is not None and end is not None and end < begin:
        yield Flaw(
            ("effective_to",), "out-of-order", f"must not lie before effective_from, {begin}"
        )
    yield from _use_flaws(data.get("use_on"))
    for position, rule in enumerate(data["rules"]):
        yield from _rule_flaws(rule, kinds, ("rules", position))


def _use_flaws(use_on: Sequence[str] | None) -> Iterator[Flaw]:
    if use_on is None:
        return
    for position, verdict in enumerate(use_on):
        if verdict not in _USE_ON:
            yield Flaw(
                ("use_on", position),
                "not-one-of",
                f"use may rest on {', '.join(_USE_ON)}, not on {verdict!r}",
            )
    yield from _repeats(use_on, ("use_on",))
    worst = max((_USE_ON.index(v) for v in use_on if v in _USE_ON), default=-1)
    lacking = [better for better in _USE_ON[: worst + 1] if better not in use_on]
    if lacking:
        yield Flaw(
            ("use_on",), "contradiction", f"a worse verdict lets use, then so must {lacking[0]}"
        )


def _rule_flaws(rule: Form, kinds: Sequence[Judging], path: Path) -> Iterator[Flaw]:
    criteria = {kind.slug: tuple(kind.criteria) for kind in kinds}
    for name in SELECTORS:
        yield from _repeats(rule.get(name) or (), (*path, name))
    yield from _known(rule.get("checks") or (), criteria, (*path, "checks"), "kind of check")
    yield from _known(rule.get("stages") or (), JUDGED_STAGES, (*path, "stages"), "judged stage")
    covered = {slug: names for slug, names in criteria.items() if matches(rule.get("checks"), slug)}
    staged = [kind.slug for kind in kinds if kind.staged]
    if rule.get("stages") is not None and not covered.keys() & staged:
        said = f"only {listed(staged)} checks have stages"
        yield Flaw((*path, "stages"), "not-for-check", said)
    if rule.get("stages") is not None:
        for name in _OF_THE_WHOLE:
            if _member(rule, ("validity", name)) is not None:
                yield Flaw(
                    (*path, "validity", name),
                    "not-by-stage",
                    f"{name} is asked of the whole check: put it into a rule without stages",
                )
    for setting in dict.fromkeys(name for kind in kinds for name in kind.settings):
        keys = setting.split(".")
        knowing = [kind.slug for kind in kinds if setting in kind.settings]
        if _member(rule, keys) is not None and not covered.keys() & knowing:
            said = f"only {listed(knowing)} checks know {keys[-1]}"
            yield Flaw((*path, *keys), "not-for-check", said)
    yield from _limits_flaws(rule.get("limits") or {}, criteria, covered, (*path, "limits"))
    yield from decision_flaws(rule, covered, (*path, "decision"))
    after = _member(rule, ("schedule", "after")) or ()
    yield from _known(after, OCCASIONS, (*path, "schedule", "after"), "occasion")
    yield from _schedule_flaws(rule.get("schedule"), (*path, "schedule"))
    yield from _response_flaws(rule.get("response") or (), (*path, "response"))
    share = _member(rule, ("validity", "weights_at_most", "share"))
    if share is not None and share[0] > share[1]:
        yield Flaw(
            (*path, "validity", "weights_at_most"), "out-of-range", "the share is at most 1/1"
        )
    floor = _member(rule, ("validity", "scatter_at_most", "floor"))
    if floor is not None and (floor.unit != "d" or floor.number.is_signed()):
        place = (*path, "validity", "scatter_at_most", "floor")
        yield Flaw(place, "unit-not-for-criterion", 'the floor is a number of "d", like "0.41 d"')


def _schedule_flaws(schedule: Form | None, path: Path) -> Iterator[Flaw]:
    if schedule is None:
        return
    if schedule.get("every") is None:
        if not schedule.get("after"):
            yield Flaw(path, "required", "a schedule says every, or after, or both")
        for name in ("at", "grace"):
            if schedule.get(name) is not None:
                yield Flaw((*path, name), "contradiction", f"{name} means nothing without every")
    yield from _repeats(schedule.get("after") or (), (*path, "after"))


def _response_flaws(response: Sequence[Form], path: Path) -> Iterator[Flaw]:
    for position, step in enumerate(response):
        if step["step"] != "out-of-service":
            continue
        if position + 1 < len(response):
            yield Flaw((*path, position + 1), "contradiction", "nothing comes after out-of-service")
        if step.get("times") is not None:
            yield Flaw(
                (*path, position, "times"), "contradiction", "it is taken out of use only once"
            )


def _limits_flaws(
    limits: Form,
    criteria: Mapping[str, Sequence[CriterionName]],
    covered: Mapping[str, Sequence[CriterionName]],
    path: Path,
) -> Iterator[Flaw]:
    known = {c.name: (slug, c) for slug, names in criteria.items() for c in names}
    for name, form in limits.items():
        if name not in known:
            yield Flaw((*path, name), "unknown-criterion", _unknown(name, known, "criterion"))
            continue
        slug, criterion = known[name]
        if slug not in covered:
            yield Flaw(
                (*path, name),
                "not-for-check",
                f"{name} belongs to {slug} checks, which this rule does not cover",
            )
        yield from limit_flaws(form, criterion, (*path, name))


def _repeats(values: Sequence[str], path: Path) -> Iterator[Flaw]:
    for position, value in enumerate(values):
        if value in values[:position]:
            yield Flaw((*path, position), "repeated", f"{value!r} is there already")


def _known(words: Sequence[str], known: Iterable[str], path: Path, what: str) -> Iterator[Flaw]:
    known = tuple(known)
    for position, word in enumerate(words):
        if word not in known and not any(sign in word for sign in "*?["):
            yield Flaw((*path, position), "not-one-of", _unknown(word, known, what))


def _unknown(word: str, known: Iterable[str], what: str) -> str:
    known = tuple(known)
    near = get_close_matches(word, known, n=1)
    hint = f"did you mean {near[0]!r}?" if near else f"known: {', '.join(known)}"
    return f"{word[:64]!r} is no {what} here; {hint}"


def _member(form: Any, keys: Sequence[str]) -> Any:
    for key in keys:
        if form is None:
            return None
        form = form.get(key)
    return form
