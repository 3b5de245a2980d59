"""Loads at which limits that depend on the load are compared, when nobody names any."""

from collections.abc import Iterable, Iterator, Sequence
from decimal import Decimal
from typing import Final

from weighworthy_service.checks.outcome import CriterionName
from weighworthy_service.metrology.instrument import Instrument
from weighworthy_service.metrology.limits import Amount, Limit
from weighworthy_service.metrology.quantity import EXACT, UNITS

_SHARES_OF_CAPACITY: Final = ("0.05", "0.2", "0.5", "1")
# Of a balance whose capacity is not stated.
_COUNTS_OF_D: Final = ("1000", "10000", "50000")


def typical_loads(
    limits: Sequence[Limit | None],
    criterion: CriterionName,
    instrument: Instrument,
    windows: Sequence[Decimal | None],
    asked: Sequence[Decimal] = (),
) -> Sequence[Decimal | None]:
    """Nominal loads in g; a single None where no limit depends on the load.

    Those asked for; otherwise 5, 20, 50 and 100 % of the capacity (1,000, 10,000 and 50,000 d where
    it is not stated) and the ends of bands; for a loss the targets of the start windows, if any.
    """
    stated = [limit for limit in limits if limit is not None]
    if not any(depends_on_load(limit, criterion) for limit in stated):
        return (None,)
    if asked:
        return asked
    targets = {target for target in windows if target is not None}
    if criterion.unit == "%" and targets:
        return sorted(targets)
    return sorted({*_plain(instrument), *_band_ends(stated, instrument)})


def depends_on_load(limit: Limit, criterion: CriterionName) -> bool:
    """Whether a limit in numbers needs the load: bands, shares of it, counts in a loss."""
    if limit.bands:
        return True
    parts = (*limit.smaller_of, *limit.larger_of)
    if parts:
        return any(depends_on_load(part, criterion) for part in parts)
    relative = ("d", "e") if criterion.unit == "%" else ("% of load",)
    return any(amount.unit in relative for amount in limit.amounts())


def _plain(instrument: Instrument) -> Iterator[Decimal]:
    if instrument.capacity is not None:
        for share in _SHARES_OF_CAPACITY:
            yield EXACT.multiply(instrument.capacity, Decimal(share))
        return
    for count in _COUNTS_OF_D:
        yield EXACT.multiply(instrument.scale_interval, Decimal(count))


def _band_ends(limits: Iterable[Limit], instrument: Instrument) -> Iterator[Decimal]:
    for limit in limits:
        for band in limit.bands:
            end = _mass(band.up_to, instrument)
            if end is not None and (instrument.capacity is None or end <= instrument.capacity):
                yield end


def _mass(amount: Amount, instrument: Instrument) -> Decimal | None:
    units = {
        **UNITS["mass"],
        "d": instrument.scale_interval,
        "e": instrument.verification_interval,
        "% of capacity": None
        if instrument.capacity is None
        else EXACT.multiply(instrument.capacity, Decimal("0.01")),
    }
    size = units.get(amount.unit)
    return None if size is None else EXACT.multiply(amount.number, size)
