"""Finds what is to be translated of the engine: sentences with `{names}` in place of values.

Sentences are written where they are decided, as f-strings; here they are read from the source, so
that none has to be marked and none can be forgotten.
"""

import ast
from collections.abc import Iterator
from typing import Final

# What these hold is for callers, not for readers of a report.
_APART: Final = frozenset(
    {"Flaw", "FieldError", "SenseError", "ValueError", "refused", "refusal_of", "said", "field"}
)
_SKIPPED: Final = (ast.Raise, ast.Assert, ast.Import, ast.ImportFrom)


def of_module(tree: ast.AST) -> Iterator[tuple[int, str]]:
    """Every text of several words that is no docstring, with its line."""
    documented = {id(node) for node in _docstrings(tree)}
    yield from _below(tree, documented)


def _docstrings(tree: ast.AST) -> Iterator[ast.AST]:
    kinds = (ast.Module, ast.ClassDef, ast.FunctionDef)
    for node in ast.walk(tree):
        if isinstance(node, kinds) and ast.get_docstring(node, clean=False) is not None:
            first = node.body[0]
            assert isinstance(first, ast.Expr)  # noqa: S101  it holds the docstring
            yield first.value


def _below(node: ast.AST, documented: set[int]) -> Iterator[tuple[int, str]]:
    if isinstance(node, _SKIPPED) or id(node) in documented:
        return
    if isinstance(node, ast.Call) and _name(node.func) in _APART:
        return
    if isinstance(node, ast.JoinedStr | ast.Constant):
        template = _template(node)
        if template and " " in template.strip() and any(map(str.isalpha, template)):
            yield node.lineno, template
        if isinstance(node, ast.JoinedStr):
            # Texts within the braces: each is a sentence of its own.
            for part in node.values:
                if isinstance(part, ast.FormattedValue):
                    yield from _below(part.value, documented)
        return
    for field, value in ast.iter_fields(node):
        # What is known before a program runs is no sentence.
        if field not in ("annotation", "returns", "keys"):
            for below in value if isinstance(value, list) else [value]:
                if isinstance(below, ast.AST):
                    yield from _below(below, documented)


def _template(node: ast.JoinedStr | ast.Constant) -> str:
    if isinstance(node, ast.Constant):
        return node.value if isinstance(node.value, str) else ""
    names: dict[str, int] = {}
    parts = []
    for part in node.values:
        if isinstance(part, ast.Constant):
            parts.append(str(part.value))
        elif isinstance(part, ast.FormattedValue):
            name = _name(part.value)
            names[name] = names.get(name, 0) + 1
            parts.append(f"{{{name}{names[name] if names[name] > 1 else ''}}}")
    return "".join(parts)


def _name(node: ast.AST) -> str:
    """The word that says most of an expression."""
    if isinstance(node, ast.Name):
        return node.id.strip("_")
    if isinstance(node, ast.Attribute):
        return node.attr.strip("_").lower()
    return _name(inner) if (inner := _inner(node)) is not None else "value"


def _inner(node: ast.AST) -> ast.AST | None:
    """What an expression is about."""
    match node:
        case ast.Call(func=ast.Attribute(value=ast.Constant(), attr="join"), args=[first]):
            return first
        case ast.Call(func=ast.Attribute(value=value, attr="isoformat" | "format")):
            return value
        case ast.Call(args=[first, *_]):
            return first
        case ast.Call(func=func):
            return func
        case ast.Subscript(value=value):
            return value
    return None
