"""The limit forms of a profile: what contradicts itself or the criterion, and the limit they mean.

A form is one of: `within`, `lower` and/or `upper`, `smaller_of`, `larger_of`, `bands`, and in a
band also `no_limit`: a check at such a load is void.
"""

from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise
from typing import Any, Final

from weighworthy_service.checks.flaws import Flaw
from weighworthy_service.checks.outcome import CriterionName
from weighworthy_service.metrology.limits import Amount, Band, Limit

Path = tuple[str | int, ...]
Form = Mapping[str, Any]

_COMBINED: Final = ("smaller_of", "larger_of")
# What limits of criteria that are no masses and no losses are about, and an example.
_NO_MASS: Final = {"K": ("difference of temperatures", "2 K"), "s": ("time", "10 min")}
# Each of the four excludes the others; the two sides of an asymmetric limit count as one.
_FORMS: Final = (("within",), ("lower", "upper"), ("smaller_of",), ("larger_of",), ("bands",))


def limit_flaws(form: Form, criterion: CriterionName, path: Path) -> Iterator[Flaw]:
    """Everything that keeps a form of the right shape from being a limit of the criterion."""
    stated = [names for names in _FORMS if any(form.get(name) is not None for name in names)]
    if form.get("no_limit"):  # only the form of a band has it
        stated.append(("no_limit",))
    if len(stated) != 1:
        found = " and ".join("/".join(names) for names in stated) or "none"
        yield Flaw(
            path,
            "limit-form",
            "a limit has exactly one form, like within, lower with upper, a choice of smaller_of "
            f"or larger_of, or bands; here stands {found}",
        )
    for side in ("within", "lower", "upper"):
        if (amount := form.get(side)) is not None:
            yield from _amount_flaws(amount, criterion, (*path, side))
    yield from _sides_flaws(form, path)
    for name in _COMBINED:
        for position, part in enumerate(form.get(name) or ()):
            yield from limit_flaws(part, criterion, (*path, name, position))
    if form.get("bands") is not None:
        if not criterion.on_pan:
            yield Flaw((*path, "bands"), "no-load", f"{criterion.name} has no load to choose by")
        yield from _band_flaws(form["bands"], criterion, (*path, "bands"))


def to_limit(form: Form) -> Limit:
    """The limit that a form without flaws means; that of a band with `no_limit` has no sides."""
    return Limit(
        within=form.get("within"),
        lower=form.get("lower"),
        upper=form.get("upper"),
        smaller_of=tuple(to_limit(part) for part in form.get("smaller_of") or ()),
        larger_of=tuple(to_limit(part) for part in form.get("larger_of") or ()),
        bands=tuple(Band(part["up_to"], to_limit(part)) for part in form.get("bands") or ()),
        when_present=bool(form.get("when_present")),
        source=form.get("source"),
    )


def has_own_place(limit: Limit) -> bool:
    """Whether the limit itself says to which place a value is rounded: its last written digit.

    Counts of d or e, shares and combined forms have no written digit in the criterion's unit.
    """
    if limit.smaller_of or limit.larger_of:
        return False
    parts = [band.limit for band in limit.bands]
    return all(map(has_own_place, parts)) and all(
        amount.dimension != "relative" for amount in limit.amounts()
    )


def _amount_flaws(amount: Amount, criterion: CriterionName, path: Path) -> Iterator[Flaw]:
    name = criterion.name
    if path[-1] == "within" and not amount.number > 0:
        yield Flaw(path, "out-of-range", "a tolerance is written without sign, above zero")
    relative = amount.dimension == "relative"
    if criterion.unit in _NO_MASS and amount.base_unit != criterion.unit:
        what, example = _NO_MASS[criterion.unit]
        yield Flaw(
            path, "unit-not-for-criterion", f'{name} is a {what}: its limit is like "{example}"'
        )
    elif criterion.unit == "%" and amount.unit not in ("%", "d", "e"):
        yield Flaw(
            path,
            "unit-not-for-criterion",
            f'{name} is a loss: its limit is in percentage points ("%"), or in "d" or "e" '
            "referred to the initial load",
        )
    elif criterion.unit == "g" and amount.dimension == "share":
        yield Flaw(
            path,
            "unit-not-for-criterion",
            f'{name} is a mass: of what is the "%"? Write "{_share_of(criterion)}", a mass, '
            '"d" or "e"',
        )
    elif criterion.unit == "g" and not relative and amount.base_unit != "g":
        yield Flaw(
            path, "unit-not-for-criterion", f'{name} is a mass: its limit is like "1.5 mg" or "2 d"'
        )
    elif amount.unit == "% of load" and not criterion.has_load:
        yield Flaw(path, "unit-not-for-criterion", f'{name} has no one load: write "% of capacity"')


def _share_of(criterion: CriterionName) -> str:
    return "% of load" if criterion.has_load else "% of capacity"


def _sides_flaws(form: Form, path: Path) -> Iterator[Flaw]:
    lower, upper = form.get("lower"), form.get("upper")
    if lower is not None and upper is not None and _not_below(lower, upper):
        yield Flaw(
            (*path, "upper"), "out-of-order", f"the upper limit must lie above the lower, {lower}"
        )


def _band_flaws(bands: Sequence[Form], criterion: CriterionName, path: Path) -> Iterator[Flaw]:
    for position, band in enumerate(bands):
        end: Amount = band["up_to"]
        if end.base_unit != "g" and end.unit not in ("d", "e", "% of capacity"):
            yield Flaw(
                (*path, position, "up_to"),
                "unit-not-for-criterion",
                'a band ends at a load: a mass, or a number of "d", "e" or "% of capacity"',
            )
        if not end.number > 0:
            yield Flaw((*path, position, "up_to"), "out-of-range", "must be greater than zero")
        yield from limit_flaws(band, criterion, (*path, position))
    for position, (before, band) in enumerate(pairwise(bands), start=1):
        if _not_below(before["up_to"], band["up_to"]):
            yield Flaw(
                (*path, position, "up_to"),
                "out-of-order",
                f"bands rise: this one must end above {before['up_to']}",
            )


def _not_below(one: Amount, other: Amount) -> bool:
    """Whether `one` is certainly not below `other`; unknown for units that only a balance relates.

    Fine for negative amounts too: every unit has a positive size.
    """
    if one.dimension == other.dimension != "relative":
        return one.base >= other.base
    return one.unit == other.unit and one.number >= other.number
