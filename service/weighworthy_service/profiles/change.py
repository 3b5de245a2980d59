"""Whether a setting got tighter or looser, and a limit by how much."""

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from types import MappingProxyType
from typing import Any, Final, Literal

from weighworthy_service.checks.outcome import VERDICTS, CriterionName
from weighworthy_service.checks.terms import Decision
from weighworthy_service.metrology.instrument import Instrument
from weighworthy_service.metrology.limits import Basis, Interval, Limit, NotResolvedError
from weighworthy_service.metrology.rounding import rounded
from weighworthy_service.profiles.loosening import setting_as_tight

Word = Literal["tighter", "looser", "equal", "new", "gone", "different"]

# What holds where no rule says anything, so that saying it changes nothing.
_UNSAID: Final = MappingProxyType({"decision": Decision(), "weights_correlation": "by-sign"})


@dataclass(frozen=True, slots=True)
class Change:
    """What became of a setting; of a limit with both intervals in g or % (None: none there).

    `by` is for people, without sign; `percent` the change of the tolerance's width, or of the size
    of its only side, negative where it got tighter.
    """

    word: Word
    unit: str | None = None
    before: Interval | None = None
    after: Interval | None = None
    by: str | None = None
    percent: Fraction | None = None


def setting_change(name: str, before: Any, after: Any, *, four_way: bool) -> Change:
    """The change of a setting that is no limit, from its values; None: not set."""
    before, after = (_UNSAID.get(name) if value is None else value for value in (before, after))
    if before is None or after is None:
        return Change("new" if before is None else "gone")
    if name == "use_on":
        one, two = (max(map(VERDICTS.index, verdicts)) for verdicts in (before, after))
        return Change(_word(two <= one, one <= two))
    tighter = setting_as_tight(name, after, before, four_way=four_way)
    looser = setting_as_tight(name, before, after, four_way=four_way)
    return Change(_word(tighter, looser))


def limit_change(
    before: Limit | None,
    after: Limit | None,
    criterion: CriterionName,
    instrument: Instrument,
    load: Decimal | None,
    *,
    rounding: bool,
) -> Change:
    """The change of a limit at one load on one balance.

    `rounding`: values may be rounded to a limit's own last digit before they are compared.
    """
    basis = Basis(instrument, load, criterion.unit)
    try:
        one, two = (None if limit is None else limit.at(basis) for limit in (before, after))
    except NotResolvedError as error:
        said = f"the balance states no {error.field}"
        same = before == after
        return Change("equal" if same else "different", criterion.unit, by=None if same else said)
    if before is None or after is None:
        return Change("new" if before is None else "gone", criterion.unit, one, two)
    # Above the last band of a limit a check is void, which is tighter than any limit.
    tighter = two is None or (one is not None and _within(two, one))
    looser = one is None or (two is not None and _within(one, two))
    tighter &= before.when_present or not after.when_present
    looser &= after.when_present or not before.when_present
    if rounding and one is not None and two is not None:
        tighter &= _fineness(two, one)
        looser &= _fineness(one, two)
    word = _word(tighter, looser)
    if word == "equal" or one is None or two is None:
        return Change(word, criterion.unit, one, two)
    by = " and ".join(_sides(one, two, criterion.unit)) or None
    return Change(word, criterion.unit, one, two, by, _percent(one, two))


def _word(tighter: bool, looser: bool) -> Word:
    if tighter and looser:
        return "equal"
    if tighter or looser:
        return "tighter" if tighter else "looser"
    return "different"


def _within(inner: Interval, outer: Interval) -> bool:
    lower = outer.lower is None or (inner.lower is not None and inner.lower >= outer.lower)
    upper = outer.upper is None or (inner.upper is not None and inner.upper <= outer.upper)
    return lower and upper


def _fineness(fine: Interval, coarse: Interval) -> bool:
    """Whether values are rounded at least as finely on both sides."""
    pairs = (
        (fine.lower_place, coarse.lower_place),
        (fine.upper_place, coarse.upper_place),
    )
    return all(one is None or two is None or one <= two for one, two in pairs)


def _sides(one: Interval, two: Interval, unit: str) -> Iterator[str]:
    lower, upper = (
        None if a is None or b is None else b - a
        for a, b in ((one.lower, two.lower), (one.upper, two.upper))
    )
    if lower and upper and lower == -upper:
        yield _amount(upper, unit)
        return
    for name, moved, a, b in (
        ("lower", lower, one.lower, two.lower),
        ("upper", upper, one.upper, two.upper),
    ):
        if moved:
            yield f"{name} {_amount(moved, unit)}"
        elif (a is None) != (b is None):
            yield f"{name} {'limit new' if a is None else 'limit gone'}"


def _amount(value: Fraction, unit: str) -> str:
    return f"{rounded(abs(value), 15).normalize():f} {unit}"


def _percent(one: Interval, two: Interval) -> Fraction | None:
    """Change of the width, or of the size of the only side that both have."""
    sizes = [_size(interval) for interval in (one, two)]
    same_sides = ((one.lower is None), (one.upper is None)) == (
        (two.lower is None),
        (two.upper is None),
    )
    if not same_sides or not sizes[0] or sizes[1] is None:
        return None
    return 100 * (sizes[1] - sizes[0]) / sizes[0]


def _size(interval: Interval) -> Fraction | None:
    if interval.lower is not None and interval.upper is not None:
        return interval.upper - interval.lower
    side = interval.upper if interval.lower is None else interval.lower
    return None if side is None else abs(side)
