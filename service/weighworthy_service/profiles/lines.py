"""Where in a TOML text a value stands, so that people are shown a line and not a path.

The standard library's reader keeps no positions; the grammar of tree-sitter-toml does. A text is
read by `tomllib` all the same: this module only finds what that has read.
"""

import tomllib
from collections.abc import Iterator
from functools import lru_cache
from typing import Final

import tree_sitter_toml
from tree_sitter import Language, Node, Parser

Path = tuple[str | int, ...]

_LANGUAGE: Final = Language(tree_sitter_toml.language())
_KEYS: Final = ("bare_key", "quoted_key", "dotted_key")
_NO_VALUES: Final = (*_KEYS, "comment")
# Nothing in a profile lies as deep; deeper values have the line of what they are in.
_MAX_DEPTH: Final = 40


def line_of(text: str, path: Path) -> int:
    """The line, counted from 1, on which the value of a path begins to be written: that of its key.

    Of a list's member without a key, the line where it begins; of a table, its first mention. What
    is not written at all has the line of the nearest thing around it that is; the whole, line 1.
    """
    known = _lines(text)
    while path not in known:
        path = path[:-1]
    return known[path]


# For the texts of the requests at work: of a hostile one this keeps up to 30 MB.
@lru_cache(maxsize=4)
def _lines(text: str) -> dict[Path, int]:
    known: dict[Path, int] = {(): 1}
    tables: dict[Path, int] = {}
    # What a broken text means is the reader's business; here it has only fewer lines.
    root = Parser(_LANGUAGE).parse(text.encode("utf-8", "replace")).root_node
    for node in root.named_children:
        if node.type == "pair":
            _enter(node, (), known)
        elif node.type in ("table", "table_array_element"):
            path = _placed(_key(node), tables, node.type == "table_array_element")
            _mention(path, 0, _line(node), known)
            for child in node.named_children:
                if child.type == "pair":
                    _enter(child, path, known)
    return known


def _placed(key: tuple[str, ...], tables: dict[Path, int], is_element: bool) -> Path:
    """The path of a table's header: every list of tables on its way stands at its latest member."""
    path: Path = ()
    for position, part in enumerate(key, start=1):
        path = (*path, part)
        if is_element and position == len(key):
            tables[path] = tables.get(path, -1) + 1
        if path in tables:
            path = (*path, tables[path])
    return path


def _enter(pair: Node, table: Path, known: dict[Path, int]) -> None:
    """Note the lines of a pair and of all that stands in its value, without recursion."""
    below: list[tuple[Node, Path]] = [(pair, table)]
    while below:
        node, path = below.pop()
        if len(path) > _MAX_DEPTH:
            continue
        if node.type == "pair":
            path = (*path, *_key(node))
            _mention(path, len(table), _line(node), known)
            below += [(value, path) for value in _values(node)]
        elif node.type == "inline_table":
            below += [(child, path) for child in node.named_children if child.type == "pair"]
        elif node.type == "array":
            for position, value in enumerate(_values(node)):
                known.setdefault((*path, position), _line(value))
                below.append((value, (*path, position)))


def _mention(path: Path, start: int, line: int, known: dict[Path, int]) -> None:
    for end in range(start + 1, len(path) + 1):
        known.setdefault(path[:end], line)


def _values(node: Node) -> Iterator[Node]:
    return (child for child in node.named_children if child.type not in _NO_VALUES)


def _line(node: Node) -> int:
    return node.start_point.row + 1


def _key(node: Node) -> tuple[str, ...]:
    """The parts of a pair's or header's key, in order."""
    parts: list[str] = []
    below = [child for child in node.named_children if child.type in _KEYS][:1]
    while below:
        key = below.pop()
        if key.type == "dotted_key":
            below += [child for child in key.named_children if child.type in _KEYS]
        else:
            parts.append(_unquoted(key))
    return tuple(reversed(parts[-_MAX_DEPTH:]))


def _unquoted(key: Node) -> str:
    written = (key.text or b"").decode("utf-8", "replace")
    if key.type == "bare_key":
        return written
    try:
        (name,) = tomllib.loads(f"{written} = 0")
    except tomllib.TOMLDecodeError:
        return written
    return name
