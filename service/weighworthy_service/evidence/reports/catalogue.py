"""The message catalogue: collected from the source, merged with what is translated, compiled.

`python -m weighworthy_service.evidence.reports.catalogue` brings the `.po` files up to date (what
is new in them has no translation yet) and compiles them.
"""

import ast
import io
import re
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from babel.messages.catalog import Catalog
from babel.messages.extract import extract
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po, write_po

import weighworthy_service
from weighworthy_service.checks.registry import KINDS
from weighworthy_service.evidence.languages import LANGUAGES
from weighworthy_service.evidence.reports.extraction import of_module
from weighworthy_service.evidence.reports.sentences import literals
from weighworthy_service.evidence.reports.words import DOMAIN, SAID

_SERVICE: Final = Path(weighworthy_service.__file__).parent
_HERE: Final = Path(__file__).parent
# Where sentences that reports show are decided.
ENGINE: Final = (
    "checks/**/*.py",
    "logbook/status.py",
    "logbook/kind_standing.py",
    "logbook/ladder.py",
    "logbook/due.py",
    "logbook/telling.py",
    "logbook/drift/*.py",
    "sittings/disagreeing.py",
    "sittings/lacking.py",
)
# Shown elsewhere: how a figure comes about, in terms of its own; what cards, drafts of mappings,
# support of results and sittings say, which are in English; and words of reports, which are marked.
_ELSEWHERE: Final = re.compile(
    r"/expla(ining|ined|nation)|/bench/|"
    r"/(as_found|card|causes|columns|faults|limit_words|pages|reach|rehearsal)\.py$"
)
# What pages say, and single words that stand in sentences of the engine, by who marks them.
_ON_PAGES: Final = {"text": None, "marked": None, "_": None}
_SPOKEN: Final = {"spoken": None}
_FEWEST_LETTERS: Final = 3


def engine_sentences() -> Iterator[tuple[str, int, str]]:
    """Every sentence with its file and line. What is nothing but values needs no translation."""
    for pattern in ENGINE:
        for path in sorted(_SERVICE.glob(pattern)):
            name = str(path.relative_to(_SERVICE))
            if _ELSEWHERE.search(name):
                continue
            for number, template in of_module(ast.parse(path.read_bytes())):
                if sum(map(str.isalpha, literals(template))) >= _FEWEST_LETTERS:
                    yield name, number, template


def collected() -> Catalog:
    """What is to be translated."""
    catalogue = _empty()
    for name, _, template in engine_sentences():
        catalogue.add(template, locations=[(name, 0)], context=SAID)
    for kind in KINDS:
        place = kind.package.removeprefix(f"{weighworthy_service.__name__}.").replace(".", "/")
        catalogue.add(kind.title, locations=[(place, 0)])
        catalogue.add(kind.slug, locations=[(place, 0)], context=SAID)
    for path in sorted([*_HERE.rglob("*.py"), *_HERE.glob("templates/*.html"), *_pages()]):
        if path.stem == "catalogue":
            continue
        method = "python" if path.suffix == ".py" else "jinja2.ext:babel_extract"
        place = str(path.relative_to(_SERVICE))
        for keywords, context in ((_ON_PAGES, None), (_SPOKEN, SAID)):
            with path.open("rb") as source:
                for _, message, _, _ in extract(method, source, keywords=keywords):
                    if isinstance(message, str) and message:
                        catalogue.add(message, locations=[(place, 0)], context=context)
    return catalogue


def _pages() -> Iterator[Path]:
    """Where kinds of check are put into words."""
    yield _SERVICE / "checks" / "pages.py"
    yield from _SERVICE.glob("checks/*/pages.py")


def texts_of(language: str) -> Path:
    """The file of translations into a language."""
    return _HERE / "locale" / language / "LC_MESSAGES" / f"{DOMAIN}.po"


def read(language: str) -> Catalog:
    """The translations as they stand."""
    path = texts_of(language)
    if not path.exists():
        return _empty(language)
    with path.open("rb") as file:
        return read_po(file, locale=language)


def compiled(catalogue: Catalog) -> bytes:
    """As programs read it."""
    into = io.BytesIO()
    write_mo(into, catalogue)
    return into.getvalue()


def update(language: str) -> None:
    """Merge what is new into the file, take out what is gone, and compile it."""
    catalogue = read(language)
    catalogue.update(collected(), no_fuzzy_matching=True)
    catalogue.obsolete.clear()
    path = texts_of(language)
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("wb") as file:
        write_po(file, catalogue, width=100, include_lineno=False, sort_by_file=True)
    path.with_suffix(".mo").write_bytes(compiled(catalogue))


def _empty(language: str | None = None) -> Catalog:
    return Catalog(locale=language, domain=DOMAIN, project="weighworthy", charset="utf-8")


if __name__ == "__main__":
    for chosen in LANGUAGES[1:]:
        update(chosen)
        missing = [message.id for message in read(chosen) if message.id and not message.string]
        sys.stdout.write("".join(f"{chosen}: not translated: {id_}\n" for id_ in missing))
