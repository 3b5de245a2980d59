"""A request that is answered with a problem document."""

from collections.abc import Iterable, Sequence

from weighworthy_service.checks.flaws import Flaw
from weighworthy_service.json_document import pointer
from weighworthy_service.wire.coded import MAX_ERRORS, FieldError, Path


class Refusal(Exception):  # noqa: N818  an answer, not an error of the program
    """`slug` of the kind of problem, a sentence on this occurrence, and faults with pointers."""

    def __init__(self, slug: str, detail: str, errors: Iterable[FieldError] = ()) -> None:
        super().__init__(detail)
        self.slug, self.detail, self.errors = slug, detail, tuple(errors)


def refusal_of(slug: str, errors: Sequence[FieldError]) -> Refusal:
    """A refusal for these faults, the first of which is told in its own sentence too."""
    first = errors[0]
    where = f"{first.pointer}: " if first.pointer else ""
    others = len(errors) - 1
    at_least = "at least " if len(errors) >= MAX_ERRORS else ""
    more = f" (and {at_least}{others} more)" if others else ""
    return Refusal(slug, f"{where}{first.detail}{more}", errors)


def from_flaws(flaws: Iterable[Flaw], under: Path = ()) -> list[FieldError]:
    """Flaws as faults of a body in which they lie at `under`."""
    return [FieldError(pointer(*under, *flaw.path), flaw.code, flaw.detail) for flaw in flaws]
