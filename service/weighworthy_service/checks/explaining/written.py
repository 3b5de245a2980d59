"""A formula as text, with as few parentheses as its meaning needs."""

from collections.abc import Callable, Iterator
from typing import Final

from weighworthy_service.checks.explaining.formula import Figure, Formula

# How tightly what was written last holds together; below what is asked for it gets parentheses.
_CHOICE, _COMPARED, _SUM, _SIGNED, _PRODUCT, _POWER, _ATOM = range(7)
# From a figure to what is written for it: its name or its number.
Say = Callable[[Figure], str]


def figures_of(of: Formula) -> Iterator[Figure]:
    """Every figure in it, from left to right."""
    if isinstance(of, Figure):
        yield of
    elif of.op == "sum":
        for _, part in of.args:
            yield from figures_of(part)
    else:
        for part in of.args:
            if isinstance(part, Formula):
                yield from figures_of(part)


def written(of: Formula, say: Say) -> str:
    """Its text, with what is said of each figure."""
    return _write(of, say)[0]


def _write(of: Formula, say: Say) -> tuple[str, int]:
    if isinstance(of, Figure):
        return _text_of_number(say(of))
    writer = _WRITERS.get(of.op)
    if writer is not None:
        return writer(of, say)
    return f"{of.op}({', '.join(written(part, say) for part in of.args)})", _ATOM


def _at_least(of: Formula, level: int, say: Say) -> str:
    text, own = _write(of, say)
    return text if own >= level else f"({text})"


def _text_of_number(text: str) -> tuple[str, int]:
    if text.startswith("-"):
        return text, _SIGNED
    return text, _PRODUCT if "/" in text else _ATOM


def _write_number(of: Formula, _: Say) -> tuple[str, int]:
    return _text_of_number(of.args[0])


def _write_text(of: Formula, _: Say) -> tuple[str, int]:
    return f'"{of.args[0]}"', _ATOM


def _write_sum(of: Formula, say: Say) -> tuple[str, int]:
    (_, first), *rest = of.args
    text = _at_least(first, _SUM, say)
    for sign, part in rest:
        text += f" {'+' if sign > 0 else '-'} {_at_least(part, _PRODUCT, say)}"
    return text, _SUM


def _write_sign(of: Formula, say: Say) -> tuple[str, int]:
    return f"-{_at_least(of.args[0], _POWER, say)}", _SIGNED


def _write_product(of: Formula, say: Say) -> tuple[str, int]:
    text, level = _write(of.args[0], say)
    if level < _SIGNED:
        text, level = f"({text})", _ATOM
    return f"{text} {of.op} {_at_least(of.args[1], _POWER, say)}", min(level, _PRODUCT)


def _write_power(of: Formula, say: Say) -> tuple[str, int]:
    return f"{_at_least(of.args[0], _ATOM, say)}**{of.args[1]}", _POWER


def _write_compared(of: Formula, say: Say) -> tuple[str, int]:
    return " <= ".join(_at_least(part, _SUM, say) for part in of.args), _COMPARED


def _write_both(of: Formula, say: Say) -> tuple[str, int]:
    return " and ".join(_at_least(part, _COMPARED, say) for part in of.args), _CHOICE


def _write_choice(of: Formula, say: Say) -> tuple[str, int]:
    then, condition, otherwise = (written(part, say) for part in of.args)
    return f"{then} if {condition} else {otherwise}", _CHOICE


_WRITERS: Final[dict[str, Callable[[Formula, Say], tuple[str, int]]]] = {
    "number": _write_number,
    "text": _write_text,
    "sum": _write_sum,
    "-": _write_sign,
    "*": _write_product,
    "/": _write_product,
    "**": _write_power,
    "<=": _write_compared,
    "and": _write_both,
    "if": _write_choice,
}
