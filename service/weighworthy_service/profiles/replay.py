"""Past checks under two sets of conditions: which verdicts would be others, and why."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Any, Final

from marshmallow import ValidationError

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.flaws import Flaw, SenseError
from weighworthy_service.checks.outcome import Evaluation
from weighworthy_service.checks.registry import BY_SLUG
from weighworthy_service.checks.request import CheckRequest
from weighworthy_service.checks.terms import ProfileIdentity, Terms
from weighworthy_service.json_document import pointer
from weighworthy_service.metrology.weights import ReferenceWeight
from weighworthy_service.profiles.document import Profile
from weighworthy_service.profiles.errors import ProfileNotUsable
from weighworthy_service.profiles.finding import find_profile
from weighworthy_service.profiles.resolve import terms_for
from weighworthy_service.profiles.store import ProfileSet
from weighworthy_service.wire.coded import FieldError, field_errors

_NOBODY: Final = ProfileIdentity("", "", "")
_NOTHING: Final[Mapping[str, Any]] = MappingProxyType({})


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
        if self.weights.keys().isdisjoint(own):
            return check
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
    resolved = _Resolved()
    for index, document in enumerate(requests):
        yield _replayed(index, document, (before, after), profiles, resolved)


class _Resolved:
    """Terms of the checks that were met, each made once: an archive repeats balances and checks."""

    def __init__(self) -> None:
        # The profile is kept with its terms, or another one could come to have its `id()`.
        self._known: dict[tuple[Any, ...], tuple[Profile, Terms, str]] = {}

    def terms(self, profile: Profile, slug: str, circumstances: Circumstances) -> tuple[Terms, str]:
        """The terms, and what of them can decide a verdict."""
        balance = circumstances.instrument
        what = (slug, balance.site, balance.model, balance.id, circumstances.method)
        key = (id(profile), *what)
        if key not in self._known:
            terms = terms_for(profile, slug, circumstances)
            self._known[key] = (profile, terms, _meaning(terms))
        _, terms, meaning = self._known[key]
        return terms, meaning


def _meaning(terms: Terms) -> str:
    """Terms without the places that set them and the profile's name, by which nothing is judged.

    As text, because `1 mg` and `1.0 mg` are equal numbers but round differently.
    """
    return repr(
        (
            [(name, limit.limit) for name, limit in terms.limits.items()],
            [(name, _meaning(stage)) for name, stage in terms.stages.items()],
            replace(terms, profile=_NOBODY, limits=_NOTHING, stages=_NOTHING),
        )
    )


def _replayed(
    index: int,
    document: Mapping[str, Any],
    sides: tuple[Side, Side],
    profiles: ProfileSet,
    resolved: _Resolved,
) -> Replayed:
    slug = document.get("check")
    kind = BY_SLUG.get(slug) if isinstance(slug, str) else None
    if kind is None:
        said = f"each request names its check, one of: {', '.join(BY_SLUG)}"
        return Replayed(index, {}, None, errors=(FieldError("/check", "not-one-of", said),))
    if document.get("weights") is None:
        # So that the weight is named that no one declared, and not only a field that is missing.
        document = {**document, "weights": {}}
    try:
        asked: CheckRequest = kind.form.load(document)
    except ValidationError as error:
        return Replayed(index, {}, slug, errors=tuple(field_errors(error.messages)))
    except SenseError as error:
        return Replayed(index, {}, slug, errors=_told(error.flaws))
    found: list[tuple[Any, str, Evaluation]] = []
    for name, side in zip(("before", "after"), sides, strict=True):
        try:
            check = side.applied(asked.check)
            profile = side.profile or _own_profile(asked, profiles)
            terms, meaning = resolved.terms(profile, kind.slug, check.circumstances)
            # Most changes touch few checks, and judging takes nearly all of the time.
            same = next((e for c, m, e in found if c is check and m == meaning), None)
            found.append((check, meaning, same or kind.evaluate(check, terms)))
        except SenseError as error:
            errors = _told(error.flaws)
        except ValidationError as error:
            errors = tuple(field_errors(error.messages, ("profile",)))
        except ProfileNotUsable as error:
            errors = _told(error.flaws, ("profile",))
        else:
            continue
        return Replayed(index, asked.labels, slug, errors=errors, side=name)
    before, after = (evaluation for _, _, evaluation in found)
    return Replayed(index, asked.labels, slug, before, after)


def _own_profile(asked: CheckRequest, profiles: ProfileSet) -> Profile:
    performed_at = asked.check.circumstances.performed_at
    return find_profile(asked.profile, profiles, performed_at.date() if performed_at else None)


def _told(flaws: Sequence[Flaw], under: tuple[str | int, ...] = ()) -> tuple[FieldError, ...]:
    return tuple(FieldError(pointer(*under, *f.path), f.code, f.detail) for f in flaws)
