"""A request that is answered with a problem document."""

from collections.abc import Iterable, Sequence

from weighworthy_service.checks.flaws import Flaw
from weighworthy_service.wire.coded import FieldError, Path, pointer


class Refusal(Exception):  # noqa: N818  an answer, not an error of the program
    """`slug` of the kind of problem, a sentence on this occurrence, and faults with pointers."""

    def __init__(self, slug: str, detail: str, errors: Iterable[FieldError] = ()) -> None:
        super().__init__(detail)
        self.slug, self.detail, self.errors = slug, detail, tuple(errors)


def refusal_of(slug: str, errors: Sequence[FieldError]) -> Refusal:
    """A refusal for these faults, the first of which is told in its own sentence too."""
    first = errors[0]
    where = first.pointer or "the body"
    more = f" (and {len(errors) - 1} more)" if len(errors) > 1 else ""
    return Refusal(slug, f"{where}: {first.detail}{more}", errors)


def from_flaws(flaws: Iterable[Flaw], under: Path = ()) -> list[FieldError]:
    """Flaws as faults of a body in which they lie at `under`."""
    return [FieldError(pointer((*under, *flaw.path)), flaw.code, flaw.detail) for flaw in flaws]
