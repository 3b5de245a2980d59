"""A request document grown from what cells say, over what the constants of the mapping say.

The constants are never copied: whatever no cell changes is the same object in every document, so
that a profile written out there is read once.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from weighworthy_service.wire.coded import Path


@dataclass(frozen=True, slots=True)
class Branch:
    """What grows at one place of the document.

    `leaves` are keys with the number of the value that goes there, `branches` keys with what grows
    below. `whole` is the number of a value that takes the place of the constants here.
    """

    leaves: tuple[tuple[str, int], ...]
    branches: "tuple[tuple[str | int, Branch], ...]"
    whole: int | None = None

    @property
    def is_list(self) -> bool:
        """Whether the keys are positions."""
        return any(isinstance(key, int) for key, _ in self.branches)


def branch_of(paths: Sequence[Path]) -> Branch:
    """The branch on which the value number n goes to the nth path."""
    return _branch(dict(enumerate(paths)))


def _branch(paths: Mapping[int, Path]) -> Branch:
    leaves: list[tuple[str, int]] = []
    whole: int | None = None
    below: dict[str | int, dict[int, Path]] = {}
    for number, path in paths.items():
        if not path:
            whole = number
        else:
            below.setdefault(path[0], {})[number] = path[1:]
    branches = []
    for key, rest in below.items():
        if len(rest) == 1 and not next(iter(rest.values())):
            leaves.append((str(key), next(iter(rest))))
        else:
            branches.append((key, _branch(rest)))
    return Branch(tuple(leaves), tuple(branches), whole)


def grown(branch: Branch, constants: Any, values: Sequence[Any]) -> dict[str, Any]:
    """The object at a branch: constants, and over them every value that is not None."""
    base = constants if isinstance(constants, dict) else {}
    if branch.whole is not None and values[branch.whole] is not None:
        base = values[branch.whole]
    made = dict(base)
    for leaf, number in branch.leaves:
        value = values[number]
        if value is not None:
            made[leaf] = value
    for key, below in branch.branches:
        there = made.get(str(key))
        part = _grown_list(below, there, values) if below.is_list else grown(below, there, values)
        if part or key in made:
            made[str(key)] = part
    return made


def _grown_list(branch: Branch, constants: Any, values: Sequence[Any]) -> list[Any]:
    """The list at a branch. Entries at the end of which no cell says anything are left out, so that
    one mapping fits rows of fewer entries: constants alone make an entry only where it has no
    cells, or is the first."""
    base = constants if isinstance(constants, list) else []
    size = max(len(base), *(int(key) + 1 for key, _ in branch.branches))
    made: list[Any] = [*base, *({} for _ in range(size - len(base)))]
    for key, below in branch.branches:
        made[int(key)] = grown(below, made[int(key)], values)
    with_cells = dict(branch.branches)
    while made:
        last = len(made) - 1
        if last >= len(base):
            said = bool(made[-1])
        else:
            said = last == 0 or last not in with_cells or _says(with_cells[last], values)
        if said:
            break
        made.pop()
    return made


def _says(branch: Branch, values: Sequence[Any]) -> bool:
    """Whether any value that goes to a branch is there."""
    own = [number for _, number in branch.leaves]
    if branch.whole is not None:
        own.append(branch.whole)
    return any(values[number] is not None for number in own) or any(
        _says(below, values) for _, below in branch.branches
    )
