"""How the commands say things to people: verdicts in word and shape, amounts, tables."""

from collections.abc import Iterable, Sequence
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Any

from weighworthy.results import Answer, Criterion

# A word always goes with its shape, so that nothing hangs on colour.
SHAPES: dict[str | None, str] = {
    "pass": "● pass",
    "conditional-pass": "◐ conditional pass",
    "conditional-fail": "◑ conditional fail",
    "fail": "■ fail",
    "void": "○ void",
    None: "– not judged",
}
USE = {True: "use allowed", False: "use NOT allowed", None: "nothing said of use"}
_STRIP = 41  # characters of the tolerance strip, which is 1.6 times as wide as the tolerance


def spoken(answer: Answer, heading: str) -> str:
    """An answer to a check in a few lines."""
    line = f"  {SHAPES[answer.verdict]}: {USE[answer.usable]}"
    if answer.verdict_as_found != answer.verdict:
        line += f"   (as found: {SHAPES[answer.verdict_as_found]})"
    if answer.verdict == "void" and answer.verdict_if_valid is not None:
        line += f"   (validly done it would be: {SHAPES[answer.verdict_if_valid]})"
    lines = [heading, line]
    judged = [criterion for criterion in answer.criteria if criterion.verdict is not None]
    width = max((len(criterion.key) for criterion in judged), default=0)
    lines += [f"    {c.key:<{width}}  {strip(c)}  {figures(c)}" for c in judged]
    lines += [f"    {f.severity}: {f.message} [{f.code}]" for f in answer.findings]
    profile = answer.profile
    lines.append(f"    profile {profile.id}@{profile.revision} {profile.digest}")
    return "\n".join(lines)


def strip(criterion: Criterion) -> str:
    """Limits as bars, the value as a lozenge, its expanded uncertainty as a double line."""
    lower, upper, value = criterion.lower_limit, criterion.upper_limit, criterion.value
    if lower is None or upper is None or value is None or lower >= upper:
        return " " * _STRIP
    middle, half = (lower + upper) / 2, (upper - lower) / 2
    u = criterion.expanded_uncertainty or Decimal(0)

    def column(at: Decimal) -> int:
        place = round((1 + float((at - middle) / half) / 1.6) * (_STRIP - 1) / 2)
        return min(max(place, 0), _STRIP - 1)

    cells = ["·"] * _STRIP
    for i in range(column(value - u), column(value + u) + 1):
        cells[i] = "═"
    cells[column(lower)] = cells[column(upper)] = "│"
    cells[column(value)] = "◆"
    return "".join(cells)


def figures(criterion: Criterion) -> str:
    """Value, expanded uncertainty, limits and verdict of a criterion."""
    unit = criterion.unit
    text = amount(criterion.value, unit, like=criterion.expanded_uncertainty)
    if criterion.expanded_uncertainty is not None:
        text += f" ± {amount(criterion.expanded_uncertainty, unit, beside=criterion.value)}"
    within = limits(criterion.lower_limit, criterion.upper_limit, unit)
    return f"{text}, {within}: {SHAPES[criterion.verdict]}"


def limits(lower: Decimal | None, upper: Decimal | None, unit: str | None) -> str:
    """Two limits, or the one that there is."""
    if lower is not None and upper is not None:
        if lower == -upper:
            return f"within ±{amount(upper, unit)}"
        return f"{amount(lower, unit)} to {amount(upper, unit)}"
    if upper is not None:
        return f"at most {amount(upper, unit)}"
    if lower is not None:
        return f"at least {amount(lower, unit)}"
    return "no limit"


def amount(
    value: Decimal | None,
    unit: str | None,
    *,
    like: Decimal | None = None,
    beside: Decimal | None = None,
) -> str:
    """A value for reading: small masses in mg, to the last digit of ``like`` where given.

    ``beside``: the value that it is shown with, in whose unit it is then told.
    """
    if value is None:
        return "–"
    if like:
        exponent = like.normalize().as_tuple().exponent
        value = value.quantize(Decimal((0, (1,), int(exponent))), ROUND_HALF_EVEN)
    if unit == "g" and abs(value if beside is None else beside) < 1:
        value, unit = value.scaleb(3), "mg"
    # Digits that the uncertainty reaches are kept, also when they are zeros.
    text = f"{abs(value) if value == 0 else value:f}" if like else _digits(value)
    return f"{text} {unit or ''}".rstrip()


def share(value: Any) -> str:
    """A probability in percent, to three significant digits at most."""
    if not isinstance(value, Decimal):
        return "–"
    percent = value * 100
    if percent == 0 or percent >= Decimal("0.01"):
        return f"{_digits(Decimal(f'{percent:.2g}') if percent < 99 else round(percent, 2))} %"
    return "< 0.01 %"


def table(headings: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """Columns in line, two blanks between them."""
    lines = [list(headings), *map(list, rows)]
    widths = [max(len(line[i]) for line in lines) for i in range(len(headings))]
    return "\n".join(
        "  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True)).rstrip()
        for line in lines
    )


def written(value: Any) -> str:
    """A setting as a profile writes it, on one line."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if value is None:
        return "–"
    if isinstance(value, Decimal):
        return _digits(value)
    if hasattr(value, "items"):
        return "{ " + ", ".join(f"{k} = {written(v)}" for k, v in value.items()) + " }"
    if isinstance(value, tuple | list):
        return "[" + ", ".join(map(written, value)) + "]"
    return f'"{value}"'


def _digits(value: Decimal) -> str:
    text = f"{abs(value) if value == 0 else value:f}"
    return (text.rstrip("0").rstrip(".") if "." in text else text) or "0"
