"""How errors as found drift, on a terminal: a line for each series, and its control chart."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from decimal import Decimal
from typing import Any

from weighworthy.cli_logbook_words import (
    LocalTimes,
    columns,
    findings,
    heading,
    in_columns,
    paragraph,
    sentence,
)
from weighworthy.cli_words import amount
from weighworthy.logbook import LogbookAnswer

_HEIGHT = 11
_LEGEND = (
    "Slopes by least squares ± half the confidence interval of 95 %; drifts: the interval leaves "
    "out zero. Earliest: the day on which the confidence band of the line meets the limit."
)


def drifting(rows: Sequence[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    """Series whose slope differs from zero."""
    rates = ((row, row["slope"]["least_squares"]) for row in rows)
    return [row for row, rate in rates if rate is not None and rate["differs_from_zero"]]


def drifted(
    answer: LogbookAnswer,
    rows: Sequence[Mapping[str, Any]],
    times: LocalTimes,
    *,
    chart: bool,
    why: bool,
) -> str:
    """A line for each series; with charts or reasons, a block for each."""
    lines = [heading(answer, times), ""]
    enough = _has_chart if chart else _has_slope
    told = [row for row in rows if why or enough(row)]
    cells = [_line(row, times) for row in told]
    if chart or why:
        for row, cell in zip(told, cells, strict=True):
            lines.append(paragraph("  ".join(filter(None, cell)), 0, hanging=len(cell[0]) + 2))
            lines += _chart(row, times) if chart else []
            lines += findings(row["findings"], times, 2) if why else []
            lines.append("")
    elif cells:
        lines += [*in_columns(cells), ""]
    if few := len(rows) - len(told):
        has = "1 more series has" if few == 1 else f"{few} more series have"
        lines.append(f"{has} too few points for a {'chart' if chart else 'slope'} (--why).")
    lines.append(paragraph(sentence(answer.summary["sentence"]), 0))
    if told:
        lines.append(paragraph(_LEGEND, 0))
    return "\n".join(lines)


def _has_chart(row: Mapping[str, Any]) -> bool:
    return row["chart"] is not None


def _has_slope(row: Mapping[str, Any]) -> bool:
    return row["slope"]["least_squares"] is not None


def _name(row: Mapping[str, Any]) -> str:
    """``span_error at 50 g``."""
    load = "" if row["load"] is None else f" at {amount(row['load'], 'g')}"
    directions = f" ({row['directions']})" if row["directions"] else ""
    return f"{row['criterion']}{load}{directions}"


def _line(row: Mapping[str, Any], times: LocalTimes) -> tuple[str, ...]:
    signals = row["chart"]["signals"] if row["chart"] is not None else ()
    tests = ", ".join(dict.fromkeys(one["test"] for one in signals))
    rest = [_until(row, times), f"chart signals: {tests}" if tests else ""]
    word, rate = _rate(row)
    told = "; ".join(filter(None, rest))
    return row["instrument"], _name(row), f"n {len(row['points'])}", word, rate, told


def _rate(row: Mapping[str, Any]) -> tuple[str, str]:
    rate = row["slope"]["least_squares"]
    if rate is None:
        return "– too few points", ""
    word = "◆ drifts" if rate["differs_from_zero"] else "◇ no drift shown"
    value, half, unit = rate["value"], (rate["high"] - rate["low"]) / 2, row["unit"]
    if unit == "g":
        value, half, unit = value * 1000, half * 1000, "mg"
    digits = max(0, 1 - half.adjusted()) if half else 3
    sign = "+" if value > 0 else "−" if value < 0 else ""
    return word, f"{sign}{abs(value):.{digits}f} ± {half:.{digits}f} {unit} a day"


def _until(row: Mapping[str, Any], times: LocalTimes) -> str:
    """The limit that may be reached first."""
    outlook = row["outlook"]
    if outlook is None:
        return ""
    reaches = (outlook[side] for side in ("lower", "upper"))
    near = [reach for reach in reaches if reach is not None and reach["earliest"] is not None]
    if outlook["overlaps"]:
        return "the last value with its U extends beyond a limit"
    if not near:
        return "no limit within ten years"
    first = min(near, key=lambda reach: datetime.fromisoformat(reach["earliest"]))
    line = f", by the line {times.day(first['estimate'])}" if first["estimate"] else ""
    limit = amount(first["limit"], row["unit"]).replace("-", "−")
    return f"limit {limit}: earliest {times.day(first['earliest'])}{line}"


def _chart(row: Mapping[str, Any], times: LocalTimes) -> list[str]:
    """Individual values in order of time, between the control limits of the first ones."""
    base = row["chart"]
    if base is None:
        return []
    scale, unit = (1000, "mg") if row["unit"] == "g" else (1, row["unit"])
    spoke = {one["entry"] for one in base["signals"]}
    points = row["points"][-(columns() - 16) :]
    marks = {"upper": base["upper"], "centre": base["centre"], "lower": base["lower"]}
    values = [point["value"] for point in points]
    low, high = min([*values, *marks.values()]), max([*values, *marks.values()])
    step = (high - low) / (_HEIGHT - 1) or Decimal(1)

    def level(value: Decimal) -> int:
        return round(Decimal((high - value) / step))

    cells = [[" "] * len(points) for _ in range(_HEIGHT)]
    for name in ("centre", "lower", "upper"):
        cells[level(marks[name])] = ["┄" if name == "centre" else "─"] * len(points)
    for place, point in enumerate(points):
        cells[level(point["value"])][place] = "■" if point["entry"] in spoke else "●"
    digits = max(0, 1 - (step * scale).adjusted())
    numbers = {name: f"{value * scale:.{digits}f}" for name, value in marks.items()}
    width = max(map(len, numbers.values()))
    beside = {level(marks[name]): name for name in marks}
    lines = []
    for place, line in enumerate(cells):
        name = beside.get(place, "")
        number = numbers.get(name, "").replace("-", "−")
        lines.append(f"  {name:<6} {number:>{width}} {''.join(line)}".rstrip())
    first, last = times.day(points[0]["at"]), times.day(points[-1]["at"])
    told = f"{first} to {last}, in {unit}; limits from the first {base['baseline']} points"
    left = len(row["points"]) - len(points)
    told += f"; {left} points before are not shown" if left else ""
    told += "; ■ a test signals here" if any(p["entry"] in spoke for p in points) else ""
    return [*lines, paragraph(told, 10 + width)]
