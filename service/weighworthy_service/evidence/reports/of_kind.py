"""What a kind of check, its criteria and fields are called on paper, by its own part `pages`."""

from collections.abc import Iterator, Mapping
from decimal import Decimal
from typing import Any, Final

from weighworthy_service.checks.pages import Pages
from weighworthy_service.checks.registry import BY_SLUG
from weighworthy_service.evidence.reports.figures import small, to_digits
from weighworthy_service.evidence.reports.terms import FIELDS, FLAGS, VALUES, called
from weighworthy_service.evidence.reports.words import Words
from weighworthy_service.wire.containers import ListOf, Part

# By name, in the order of the documentation.
Members = Mapping[str, Any]
# Significant digits of what is shown of a figure without end, which has more than the second.
DIGITS: Final = 7
_MOST_DIGITS: Final = 9
_SILENT: Final = Pages()


class OfKind:
    """The words for the requests and answers of one kind; of one that is gone, none of its own."""

    def __init__(self, words: Words, check: str) -> None:
        self.words = words
        self.kind = BY_SLUG.get(check)
        self.pages = pages_of(check)
        self.members: Members = {} if self.kind is None else members(self.kind.form)

    def field(self, name: str) -> str:
        """What a field is called."""
        return called(self.words, {**FIELDS, **self.pages.fields}, name)

    def value(self, value: object) -> str | None:
        """A stated word or flag; None: it is none that is known."""
        if isinstance(value, bool):
            return self.words.text(FLAGS[value])
        known = self.pages.values.get(str(value)) or VALUES.get(str(value))
        return None if known is None else self.words.text(known)


def pages_of(check: str) -> Pages:
    """The words of a kind; of one that has none, or is gone, no words."""
    kind = BY_SLUG.get(check)
    part = None if kind is None else kind.part("pages")
    if part is None:
        return _SILENT
    pages: Pages = part.PAGES
    return pages


def kind_name(words: Words, check: str) -> str:
    """What a kind of check is called."""
    kind = BY_SLUG.get(check)
    return called(words, {} if kind is None else {check: kind.title}, check)


def criterion_name(words: Words, name: str) -> str:
    """What a criterion is called; a name belongs to one kind."""
    return called(words, dict(_criteria()), name)


def counted_as(name: str) -> str:
    """What the position of a value of that criterion counts."""
    pages = (pages_of(check) for check in BY_SLUG)
    return next((of.place for of in pages if name in of.criteria), _SILENT.place)


def series_name(words: Words, check: str, name: str) -> str:
    """What a series of a criterion is called."""
    return called(words, {**dict(_criteria()), **pages_of(check).series}, name)


def _criteria() -> Iterator[tuple[str, str]]:
    for check in BY_SLUG:
        yield from pages_of(check).criteria.items()


def members(form: Any) -> Members:
    """The fields of a form, or of what stands inside a field, by name; of any other field none."""
    inner = form.inner if isinstance(form, ListOf) else form
    schema = inner.schema if isinstance(inner, Part) else inner
    fields = getattr(schema, "load_fields", {})
    return {field.data_key or name: field for name, field in fields.items()}


def settled(value: float) -> Decimal:
    """A figure that an answer has, in so many digits as tell it: of a quotient without end, few."""
    exact = Decimal(repr(value))
    return to_digits(exact, DIGITS) if len(exact.as_tuple().digits) > _MOST_DIGITS else exact


def figure_text(words: Words, value: Decimal | float, unit: str) -> str:
    """A figure of an answer with all its digits, in the unit that errors are shown in."""
    shown, power = small(unit)
    exact = value if isinstance(value, Decimal) else Decimal(repr(value))
    return f"{words.number(exact.scaleb(power))}\N{NO-BREAK SPACE}{shown}"
