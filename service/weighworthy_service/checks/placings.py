"""One load put on the pan again and again: what each placing shows net of its zero."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Final, Protocol

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.flaws import Flaw
from weighworthy_service.checks.outcome import Finding
from weighworthy_service.checks.terms import Terms
from weighworthy_service.checks.validity import Observed, reading_findings
from weighworthy_service.json_document import pointer
from weighworthy_service.metrology.quantity import EXACT

# Farther from the load, as its share, than any balance in use can be: another unit, say.
FAR: Final = Fraction(1, 10)
_FAR: Final = (
    "net of its zero, more than 10 % from the nominal load: another unit, other weights, or a zero "
    "that was not read"
)


class Placing(Protocol):
    """What was read in g: `zero` before it; None: the last one before that, or none at all."""

    @property
    def indication(self) -> Decimal: ...
    @property
    def zero(self) -> Decimal | None: ...
    @property
    def stable(self) -> bool | None: ...


@dataclass(frozen=True, slots=True)
class Net:
    """A net indication in g; `zero`: the placing whose zero it is read against; None: tared."""

    index: int
    value: Decimal
    zero: int | None


def net_indications(placings: Sequence[Placing]) -> list[Net]:
    """Indications less the last zero given; as they stand where none has been given yet."""
    found: list[Net] = []
    zero, given = Decimal(0), None
    for i, placing in enumerate(placings):
        if placing.zero is not None:
            zero, given = placing.zero, i
        found.append(Net(i, EXACT.subtract(placing.indication, zero), given))
    return found


def load_flaws(circumstances: Circumstances, load: Sequence[str]) -> Iterator[Flaw]:
    """As of any check, but that a weight needs no value of its own to be put on again."""
    for flaw in circumstances.flaws([(("load",), load)]):
        if flaw.code != "weight-without-value":
            yield flaw


def is_valued(circumstances: Circumstances, load: Iterable[str]) -> bool:
    """Whether class or certificate tell of every weight how far it may be off."""
    return all(weight.certified or weight.weight_class for weight in circumstances.on(tuple(load)))


def placing_findings(
    placings: Sequence[Placing],
    nets: Sequence[Net],
    circumstances: Circumstances,
    load: Sequence[str],
    terms: Terms,
) -> Iterator[Finding]:
    """On the readings, on zeros that nobody stated, and on what is far from the load."""
    observed = [
        Observed(("placings", i, name), value, ("placings", i), placing.stable)
        for i, placing in enumerate(placings)
        for name, value in (("zero", placing.zero), ("indication", placing.indication))
        if value is not None
    ]
    yield from reading_findings(observed, circumstances, terms)
    if placings[0].zero is None:
        message = "no zero is stated before this placing: its indication counts as net, as if tared"
        yield Finding("zero-not-stated", "note", message, pointer("placings", 0, "zero"))
    nominal = Fraction(circumstances.nominal(load))
    for net in nets:
        if abs(Fraction(net.value) - nominal) > FAR * nominal:
            field = pointer("placings", net.index, "indication")
            yield Finding("indication-far-from-load", "no-pass", _FAR, field)
