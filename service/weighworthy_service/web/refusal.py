"""A request that is answered with a problem document."""

from collections.abc import Iterable

from weighworthy_service.wire.coded import FieldError


class Refusal(Exception):  # noqa: N818  an answer, not an error of the program
    """`slug` of the kind of problem, a sentence on this occurrence, and faults with pointers."""

    def __init__(self, slug: str, detail: str, errors: Iterable[FieldError] = ()) -> None:
        super().__init__(detail)
        self.slug, self.detail, self.errors = slug, detail, tuple(errors)
