"""How every number of an answer is reckoned by hand, for the request document itself."""

from typing import Any

from weighworthy_service.checks.explaining.answer import jsonable
from weighworthy_service.checks.kind import Kind
from weighworthy_service.profiles.judging import Finder, read
from weighworthy_service.profiles.resolve import terms_for


def explanation(kind: Kind, document: Any, find: Finder) -> list[dict[str, Any]]:
    """The steps in their JSON form; only of a kind that has some.

    Raises:
        Refusal: as `profiles.judging.judge` does.
    """
    assert kind.explain is not None  # noqa: S101  the view refuses to ask the others
    asked, profile = read(kind, document, find)
    terms = terms_for(profile, kind.slug, asked.check.circumstances)
    return jsonable(kind.explain(asked.check, terms, kind.evaluate(asked.check, terms)))
