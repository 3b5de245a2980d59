"""What is wrong with a request that has the right form: it cannot mean anything."""

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Flaw:
    """One fault: where (keys and positions from the root of the request), code, and a sentence."""

    path: tuple[str | int, ...]
    code: str
    detail: str


class SenseError(ValueError):
    """A request whose values contradict each other or cannot occur; carries every flaw found."""

    def __init__(self, flaws: Iterable[Flaw]) -> None:
        self.flaws = tuple(flaws)
        super().__init__("; ".join(f"{'/'.join(map(str, f.path))}: {f.detail}" for f in self.flaws))


def refuse_if_any(flaws: Iterable[Flaw]) -> None:
    """Raise `SenseError` with all flaws, if there are any."""
    found = tuple(flaws)
    if found:
        raise SenseError(found)
