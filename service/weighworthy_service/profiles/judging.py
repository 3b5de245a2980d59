"""One request document, judged: the same way for a single call and for a row of a table."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from marshmallow import ValidationError

from weighworthy_service.checks.flaws import SenseError
from weighworthy_service.checks.kind import Kind
from weighworthy_service.checks.outcome import Evaluation
from weighworthy_service.checks.request import CheckRequest
from weighworthy_service.checks.terms import ProfileIdentity
from weighworthy_service.profiles.document import Profile
from weighworthy_service.profiles.errors import ProfileNotUsable
from weighworthy_service.profiles.refusal import Refusal, from_flaws, refusal_of
from weighworthy_service.profiles.resolve import terms_for
from weighworthy_service.wire.coded import FieldError, field_errors

# From what a request says of its profile and its local date to the profile itself; raises as
# `find_profile` does.
Finder = Callable[[str | dict[str, Any] | None, date | None], Profile]


@dataclass(frozen=True, slots=True)
class Judged:
    """A request that could be judged, with the labels that it carries."""

    labels: Mapping[str, str]
    profile: ProfileIdentity
    evaluation: Evaluation


def judge(kind: Kind, document: Any, find: Finder) -> Judged:
    """The outcome of one request document of this kind.

    Raises:
        Refusal: `invalid`, `profile-not-usable` or `digest-differs`.
    """
    asked, profile = read(kind, document, find)
    terms = terms_for(profile, kind.slug, asked.check.circumstances)
    return Judged(asked.labels, terms.profile, kind.evaluate(asked.check, terms))


def read(kind: Kind, document: Any, find: Finder) -> tuple[CheckRequest, Profile]:
    """The request and the profile it is judged by; all faults of form of both at once.

    Raises:
        Refusal: as `judge` does.
    """
    errors: list[FieldError] = []
    asked: CheckRequest | None = None
    try:
        asked = kind.form.load(document)
    except ValidationError as error:
        errors += field_errors(error.messages)
    except SenseError as error:
        errors += from_flaws(error.flaws)
    reference = document.get("profile") if isinstance(document, dict) else None
    performed_at = asked.check.circumstances.performed_at if asked else None
    try:
        profile = find(
            reference if asked or isinstance(reference, dict) else None,
            performed_at.date() if performed_at else None,
        )
    except ValidationError as error:
        errors += field_errors(error.messages, ("profile",))
    except ProfileNotUsable as error:
        flaws = from_flaws(error.flaws, ("profile",))
        if not errors:
            raise refusal_of("profile-not-usable", flaws) from None
        errors += flaws
    if errors:
        raise refusal_of("invalid", errors)
    assert asked is not None  # noqa: S101  otherwise there were errors
    _check_digest(asked, profile)
    return asked, profile


def _check_digest(asked: CheckRequest, profile: Profile) -> None:
    expected, found = asked.expect_profile_digest, profile.identity.digest
    if expected is not None and expected != found:
        raise Refusal("digest-differs", f"expected {expected}, in force is {found}")
