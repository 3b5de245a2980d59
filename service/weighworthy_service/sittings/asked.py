"""The requests of a sitting: what its checks have in common, patched by what each says itself."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from marshmallow import ValidationError

from weighworthy_service.checks.kind import Kind
from weighworthy_service.checks.registry import BY_SLUG, NoSuchKind, kind_named
from weighworthy_service.json_document import pointer, pointer_parts
from weighworthy_service.profiles.refusal import Refusal, refusal_of
from weighworthy_service.tables.line_requests import merged
from weighworthy_service.wire.coded import MAX_ERRORS, FieldError, field_errors
from weighworthy_service.wire.sitting import SittingForm

_FORM: Final = SittingForm()
_COMMON: Final = frozenset(_FORM.load_fields) - {"checks"}
_CHECKS: Final = "checks"


@dataclass(frozen=True, slots=True)
class Asked:
    """One check of a sitting: its place, its kind, and the request that it makes by itself."""

    index: int
    kind: Kind
    document: dict[str, Any]


def asked_checks(document: Any) -> list[Asked]:
    """The requests of the checks, in their order. Nothing of their own form is looked at yet.

    Raises:
        Refusal: `invalid`, with all faults of the form of the sitting and of the kinds named.
    """
    errors: list[FieldError] = []
    try:
        _FORM.load(document)
    except ValidationError as error:
        errors += field_errors(error.messages)
    entries = document.get(_CHECKS) if isinstance(document, dict) else None
    if not isinstance(entries, list) or any(error.pointer == "/checks" for error in errors):
        raise refusal_of("invalid", errors)
    common = {name: value for name, value in document.items() if name in _COMMON}
    found: list[Asked] = []
    for index, entry in enumerate(entries):
        if not isinstance(entry, dict):
            continue  # told by the form
        slug = entry.get("check")
        try:
            if slug is None:
                said = f"say which check: {', '.join(BY_SLUG)}"
                errors.append(FieldError(pointer(_CHECKS, index, "check"), "required", said))
            else:
                found.append(Asked(index, kind_named(slug), merged(common, entry)))
        except NoSuchKind as error:
            errors.append(FieldError(pointer(_CHECKS, index, "check"), "not-one-of", str(error)))
    if errors:
        raise refusal_of("invalid", errors[:MAX_ERRORS])
    return found


def refuse_together(refusals: Sequence[tuple[int, Refusal]], document: Mapping[str, Any]) -> None:
    """One refusal for all checks that cannot be judged, each fault at the place that states it.

    Raises:
        Refusal: if there are any; `invalid` as soon as one of them is.
    """
    if not refusals:
        return
    slugs = [refusal.slug for _, refusal in refusals]
    slug = "invalid" if "invalid" in slugs else slugs[0]
    faults = dict.fromkeys(
        error
        for index, refusal in refusals
        if refusal.slug == slug
        for error in _placed(refusal.errors, index, document)
    )
    if not faults:
        index, first = refusals[slugs.index(slug)]
        raise Refusal(slug, f"{pointer(_CHECKS, index)}: {first.detail}")
    raise refusal_of(slug, list(faults)[:MAX_ERRORS])


def _placed(
    errors: Iterable[FieldError], index: int, document: Mapping[str, Any]
) -> Iterable[FieldError]:
    entry = document[_CHECKS][index]
    for error in errors:
        parts = pointer_parts(error.pointer)
        # What neither states is missing from what all have in common.
        own, common = _reach(entry, parts), _reach(document, parts)
        shared = common > own or (common == own < len(parts))
        here = bool(parts) and parts[0] in _COMMON and shared
        yield error if here else error.below(pointer(_CHECKS, index))


def _reach(document: Any, parts: Sequence[str]) -> int:
    """How far a pointer leads into a document: of two, the one it leads farther into states it."""
    for depth, part in enumerate(parts):
        if isinstance(document, list) and part.isdecimal() and int(part) < len(document):
            document = document[int(part)]
        elif isinstance(document, dict) and document.get(part) is not None:
            document = document[part]
        else:
            return depth
    return len(parts)
