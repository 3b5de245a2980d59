"""What a review and a resolution look like on a terminal."""

from collections.abc import Iterator, Mapping
from typing import Any

from weighworthy.cli_words import amount, limits, share, table, written
from weighworthy.profile_results import Place, Resolution, Review

_LEGEND = """U: expanded uncertainty. T/U: limit over U; 3 is sensible. Good fails: a balance
without error is not let into use by one check; bad passes: one that is 1.5 limits off is; both for
one fixed set of weights. False fail a year: at least one at the schedule, without error, over all
sets of weights. d at most: the largest scale interval with which the limit is sensible."""


def remarks(name: str, review: Review, *, errors_only: bool) -> list[str]:
    """``file:line: code: sentence [severity]`` for each, as editors and pipelines read it."""
    # The sentence of an error does not always name the field; in a parent's file it has no extends.
    lines = [
        f"{place(error.place, name)}: {error.code}: "
        f"{_field(error.place.pointer, at_its_file=error.place.line is not None)}"
        f"{error.message} [error]"
        for error in review.errors
    ]
    return lines + [
        f"{place(remark.place, name)}: {remark.code}: {remark.message} [{remark.severity}]"
        for remark in review.remarks
        if remark.severity == "error" or not errors_only
    ]


def _field(pointer: str, *, at_its_file: bool) -> str:
    if not at_its_file:
        return ""  # then the place names it
    while pointer.startswith("/extends/"):
        pointer = pointer.removeprefix("/extends")
    return f"{pointer}: " if pointer else ""


def place(where: Place | None, name: str) -> str:
    """File and line; a pointer where there is no line; the profile where there is no file."""
    if where is None:
        return "built in"
    source = where.file or where.document or name
    if where.line is not None:
        return f"{source}:{where.line}"
    return f"{source} {where.pointer}".rstrip()


def judged(review: Review) -> str:
    """One line for each limit and instrument: what it does to balances that are in order."""
    rows = []
    for row in review.judgement:
        rejected, accepted = row["false_rejection"], row["false_acceptance"]
        a_year = row["false_failures_a_year"]
        rows.append(
            (
                str(row["instrument"] or ""),
                f"{row['check']} {row['criterion']}" + (f" {row['stage']}" if row["stage"] else ""),
                amount(row["load"], "g") if row["load"] is not None else "",
                limits(row["lower_limit"], row["upper_limit"], row["unit"]),
                amount(row["expanded_uncertainty"], row["unit"]),
                "–"
                if row["tolerance_to_uncertainty"] is None
                else f"{row['tolerance_to_uncertainty']:.2g}",
                share(rejected and rejected["one_set"]),
                share(accepted and accepted["one_set"]),
                share(a_year and a_year["at_least_one"]),
                amount(row["sensible_scale_interval"], "g"),
            )
        )
    headings = (
        "instrument",
        "criterion",
        "load",
        "limit",
        "U",
        "T/U",
        "good fails",
        "bad passes",
        "false fail a year",
        "d at most",
    )
    return f"\n{table(headings, rows)}\n{_LEGEND}\n"


def units_of(kinds: Any) -> dict[str, str]:
    """Units of limits in figures, by setting, as the service tells of its kinds of check."""
    return {
        f"limits.{criterion['name']}": criterion["unit"]
        for kind in kinds["checks"]
        for criterion in kind["criteria"]
    }


def settings(name: str, resolution: Resolution, units: Mapping[str, str]) -> str:
    """``file:line: name = value`` for each setting, and below it the rules that lost.

    ``units``: those of limits in figures, by setting.
    """

    def lines() -> Iterator[str]:
        ref = resolution.profile
        if ref is not None:
            yield f"{ref.id}@{ref.revision} {ref.digest}"
        for setting in resolution.settings:
            line = f"{place(setting.place, name)}: {setting.name} = {written(setting.value)}"
            if setting.lower_limit is not None or setting.upper_limit is not None:
                unit = units[setting.name]
                line += f"  ({limits(setting.lower_limit, setting.upper_limit, unit)})"
            yield line
            for value, where in setting.lost:
                yield f"  {place(where, name)}: lost {written(value)}"

    return "\n".join(lines())
