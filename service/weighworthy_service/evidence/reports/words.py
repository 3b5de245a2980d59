"""The words, numbers and dates of one language."""

from collections.abc import Mapping
from datetime import date, datetime
from decimal import Decimal
from functools import cache
from gettext import GNUTranslations, NullTranslations
from importlib.resources import files
from typing import Any, Final

from babel import Locale
from babel.dates import format_date, format_datetime
from babel.numbers import format_decimal

DOMAIN: Final = "reports"
# What the engine says stands in the catalogue under this context, apart from words of pages.
SAID: Final = "said"
_MINUS: Final = "\N{MINUS SIGN}"
_SUPERSCRIPT: Final = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")
_PLAIN: Final = range(-12, 13)


class Words:
    """Texts by their English form, and numbers and dates as the language writes them."""

    def __init__(self, language: str) -> None:
        self.language = language
        # Dates of English reports put the day first: nobody then takes a month for it.
        self._locale = Locale.parse("en_GB" if language == "en" else language)
        self._texts = _translations(language)

    def text(self, message: str, /, **values: Any) -> str:
        """A text of the pages, with values put in for `{names}`."""
        said = self._texts.gettext(message)
        return said.format_map(values) if values else said

    def number(self, value: Decimal | float, places: int | None = None) -> str:
        """All digits of a number, or those up to a place after the mark; no groups, a true minus.

        A float is the number that its shortest text says.
        """
        exact = value if isinstance(value, Decimal) else Decimal(repr(value))
        if exact and exact.adjusted() not in _PLAIN:
            return self._power(exact)
        digits = f"{exact:f}" if places is None else f"{exact:.{places}f}"
        shown = places if places is not None else len(digits.partition(".")[2].rstrip("0"))
        pattern = "0" + ("." + "0" * shown if shown else "")
        text = format_decimal(
            Decimal(digits), pattern, self._locale, decimal_quantization=places is not None
        )
        return text.replace("-", _MINUS)

    def day(self, value: date) -> str:
        """A date."""
        return format_date(value, "medium", self._locale)

    def instant(self, value: datetime) -> str:
        """Date, time and offset to UTC; seconds where there are any."""
        form = "HH:mm:ss" if value.second else "HH:mm"
        text = f"{self.day(value)}, {format_datetime(value.replace(tzinfo=None), form)}"
        offset = self.offset(value)
        return f"{text} {offset}" if offset else text

    def offset(self, value: datetime) -> str:
        """The offset of a time to UTC; nothing, where it has none."""
        offset = value.strftime("%z")
        return f"UTC{offset[:3]}:{offset[3:5]}".replace("-", _MINUS) if offset else ""

    def _power(self, exact: Decimal) -> str:
        exponent = exact.adjusted()
        factor = self.number(exact.scaleb(-exponent).normalize())
        return f"{factor} × 10{str(exponent).translate(_SUPERSCRIPT)}"


@cache
def words(language: str) -> Words:
    """The words of a language of `LANGUAGES`."""
    return Words(language)


def messages(language: str) -> Mapping[tuple[str | None, str], str]:
    """Texts of the catalogue by context and English form; empty in English."""
    catalogue: dict[Any, str] = getattr(_translations(language), "_catalog", {})
    found = {}
    for key, text in catalogue.items():
        context, _, message = key.rpartition("\x04")
        if message:
            found[context or None, message] = text
    return found


@cache
def _translations(language: str) -> NullTranslations:
    if language == "en":
        return NullTranslations()
    place = files("weighworthy_service.evidence.reports").joinpath("locale", language)
    with place.joinpath("LC_MESSAGES", f"{DOMAIN}.mo").open("rb") as compiled:
        return GNUTranslations(compiled)
