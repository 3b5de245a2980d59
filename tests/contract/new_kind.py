"""Two kinds of check that exist only while a test runs, to show that nothing knows kinds by name.

`creep` is a load that stays on the pan, read again and again; `unrest` an empty pan whose display
does not rest, so that there are no weights. Each is a folder of `new_kinds` with what would be its
line of the registry, and has none of the optional modules: whatever works with kinds has to do
without. Both are invented.
"""

import json
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from importlib import import_module
from pathlib import Path
from types import ModuleType
from typing import Any

FOLDER = Path(__file__).parent / "new_kinds"
SLUGS = ("creep", "unrest")
_OURS = ("weighworthy_service", *SLUGS)

# What follows belongs to an invented organisation, as in the examples.
INSTRUMENT = {
    "id": "MA-09",
    "scale_interval": "1 mg",
    "capacity": "60 g",
    "repeatability": "0.6 mg",
    "repeatability_observations": 10,
}
WEIGHTS = {
    "KM-20": {
        "nominal": "20 g",
        "weight_class": "OIML F1",
        "certificate": "KM/2026/014",
        "due_on": "2028-02-11",
    }
}
PROFILE = {
    "id": "kestrel-new-kinds",
    "revision": "1",
    "rules": [
        {"limits": {"creep": {"within": "6 mg"}, "unrest": {"upper": "5 mg"}}},
        {"checks": ["creep"], "schedule": {"every": "month"}, "response": [{"step": "repeat"}]},
        {"checks": ["unrest"], "schedule": {"every": "week"}},
    ],
}
# 20.004 g - 20.001 g, and 0.002 g - (-0.001 g): both 3 mg, within their limits.
REQUESTS: dict[str, dict[str, Any]] = {
    slug: json.loads((FOLDER / slug / "example.json").read_bytes())["request"] for slug in SLUGS
}


class NewKinds:
    """The service with both kinds in it. Its modules are others than those that a test imports."""

    def __init__(self, entered: Callable[[str], ModuleType]) -> None:
        self.module = entered
        self.requests, self.profile = REQUESTS, PROFILE
        self.instrument, self.weights = INSTRUMENT, WEIGHTS

    def http(self) -> Any:
        """A test client of the application."""
        return self.module("weighworthy_service.web.app").create_app().test_client()

    def kind(self, slug: str) -> Any:
        """One of all the kinds there are."""
        return self.module("weighworthy_service.checks.registry").BY_SLUG[slug]


@contextmanager
def entered() -> Iterator[NewKinds]:
    """Load the whole service anew, with both kinds in its registry, and put back the other after.

    What is imported inside is the new one: a client with the service inside, the command, and
    whatever `NewKinds.module` is asked for.
    """
    before = {name: module for name, module in sys.modules.items() if _ours(name)}
    for name in before:
        del sys.modules[name]
    sys.path.insert(0, str(FOLDER))
    try:
        registry = import_module("weighworthy_service.checks.registry")
        more = tuple(import_module(slug).kind() for slug in SLUGS)
        registry.KINDS = (*registry.KINDS, *more)
        registry.BY_SLUG.update({kind.slug: kind for kind in more})
        yield NewKinds(import_module)
    finally:
        sys.path.remove(str(FOLDER))
        for name in [name for name in sys.modules if _ours(name)]:
            del sys.modules[name]
        sys.modules.update(before)


def _ours(name: str) -> bool:
    return name.partition(".")[0] in _OURS
