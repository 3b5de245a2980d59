"""The languages in which pages for people are written."""

from typing import Final

LANGUAGES: Final = ("en", "de")
