"""The drawing that belongs to a kind of check: the module of `plots` with the name of its folder.

It has `plot(words, answer, request)`, which gives a drawing or None, the `TITLE` above and the
`NOTE` below it. A kind without one has no drawing.
"""

from collections.abc import Mapping
from importlib import import_module
from pkgutil import iter_modules
from types import ModuleType
from typing import Any, Final

from weighworthy_service.evidence.reports import plots
from weighworthy_service.evidence.reports.words import Words

Data = Mapping[str, Any]

# Loaded with the pages: a reader of a report does not wait for them.
_PLOTS: Final[Mapping[str, ModuleType]] = {
    module.name: import_module(f"{plots.__name__}.{module.name}")
    for module in iter_modules(plots.__path__)
}


def plot_of(words: Words, answer: Data, request: Data | None) -> dict[str, Any] | None:
    """Title, drawing and note; None: the kind has none, or its answer nothing to draw."""
    module = _PLOTS.get(answer["check"].replace("-", "_"))
    drawing = None if module is None else module.plot(words, answer, request)
    if module is None or drawing is None:
        return None
    texts = {"title": words.text(module.TITLE), "note": words.text(module.NOTE)}
    return {"drawing": drawing, **texts}
