"""What a comparison looks like on a terminal."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from weighworthy.cli_common import counted
from weighworthy.cli_words import SHAPES, amount, table, written
from weighworthy.profile_results import Comparison

Row = Mapping[str, Any]
# Where each past check stands (``file:line``), and the check.
Past = Sequence[tuple[str, Row]]


def compared(comparison: Comparison, past: Past) -> str:
    """Settings that differ, the balances of each below it; then the past checks that differ."""
    return "\n".join(
        [*_settings(comparison), *_unreached(comparison), *_verdicts(comparison, past)]
    )


def _settings(comparison: Comparison) -> Iterator[str]:
    if not comparison.settings:
        return
    balances: dict[str, list[str]] = {}
    for row in comparison.changes:
        balances.setdefault(_sentence(row), []).append(str(row["instrument"] or "a balance"))
    differ = counted(len(comparison.changes), "differs", "differ")
    yield f"settings: {len(comparison.settings)} compared, {differ}"
    for sentence, names in balances.items():
        yield f"  {sentence}"
        yield f"      {', '.join(dict.fromkeys(names))}"


def _sentence(row: Row) -> str:
    where = [row["check"], row["stage"], row["method"]]
    load = "" if row["load"] is None else f" at {amount(row['load'], 'g')}"
    by = "" if row["by"] is None else f" by {row['by']}"
    if row["percent"] is not None:
        by += f" ({'+' if row['percent'] > 0 else ''}{written(round(row['percent'], 1))} %)"
    setting = " ".join([*filter(None, where), row["name"]]) + load
    return f"{setting}: {written(row['before'])} -> {written(row['after'])}, {row['change']}{by}"


def _unreached(comparison: Comparison) -> Iterator[str]:
    for side, places in comparison.data["rules_not_reached"].items():
        for place in places:
            where = f"{place['document'] or ''} {place['pointer']}".strip()
            yield f"  not compared, it applies to none of these balances: {where} ({side})"


def _verdicts(comparison: Comparison, past: Past) -> Iterator[str]:
    verdicts = comparison.verdicts
    if verdicts is None:
        return
    yield (
        f"past checks: {verdicts['requests']}, of which "
        f"{counted(verdicts['changed'], 'changes', 'change')}, "
        f"{counted(verdicts['unchanged'], 'stays', 'stay')}, "
        f"{verdicts['refused']} could not be judged"
    )
    for change, count in verdicts["counts"].items():
        yield f"  {count} × {change}"
    if verdicts["changes"]:
        yield table(
            ("  where", "balance", "check", "performed", "before", "after", "decided by"),
            [_changed(row, past) for row in verdicts["changes"]],
        )
    for row in verdicts["findings"]:
        checks = counted(row["requests"], "check", "checks")
        yield f"  {row['severity']} {row['code']} {row['change']}: {checks}"
    for row in verdicts["refusals"]:
        yield from _refused(row, past)
    for side, names in verdicts["weights_not_met"].items():
        if names:
            yield f"  no check has these weights of {side}: {', '.join(names)}"


def _changed(row: Row, past: Past) -> Sequence[str]:
    place, request = past[int(row["index"])]
    return (
        f"  {place}",
        _balance(request),
        row["check"],
        str(request.get("performed_at", "")),
        SHAPES.get(row["before"], str(row["before"])),
        SHAPES.get(row["after"], str(row["after"])),
        str(row["criterion"] or ""),
    )


def _refused(row: Row, past: Past) -> Iterable[str]:
    place, _ = past[int(row["index"])]
    for error in row["errors"]:
        yield f"{place}: {error['code']}: {error['pointer']} {error['detail']} [not judged]"


def _balance(request: Row) -> str:
    instrument = request.get("instrument")
    if isinstance(instrument, Mapping):
        instrument = instrument.get("id")
    return str(instrument or "")
