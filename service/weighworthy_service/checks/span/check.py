"""What a span check consists of: rounds of zero, load on, load off, zero again."""

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.flaws import Flaw, refuse_if_any

Stage = Literal["as-found", "adjustment", "as-left"]


@dataclass(frozen=True, slots=True)
class Round:
    """Zero, load on, load off, zero again; readings in g. An adjustment needs no readings."""

    stage: Stage = "as-found"
    load: tuple[str, ...] = ()
    zero: Decimal | None = None
    indication: Decimal | None = None
    zero_after: Decimal | None = None
    stable: bool | None = None


@dataclass(frozen=True, slots=True)
class SpanCheck:
    """A span check of one or several rounds."""

    circumstances: Circumstances
    rounds: tuple[Round, ...]

    def __post_init__(self) -> None:
        refuse_if_any(self._flaws())

    def _flaws(self) -> Iterator[Flaw]:
        yield from self.circumstances.flaws(
            (("rounds", i, "load"), r.load) for i, r in enumerate(self.rounds)
        )
        adjusted = False
        adjustments = [i for i, r in enumerate(self.rounds) if r.stage == "adjustment"]
        for i, r in enumerate(self.rounds):
            if r.stage == "adjustment":
                adjusted = True
                continue
            for field in ("load", "zero", "indication"):
                if getattr(r, field) in (None, ()):
                    yield Flaw(("rounds", i, field), "required", f"a judged round needs {field}")
            if adjusted and r.stage == "as-found":
                yield Flaw(
                    ("rounds", i, "stage"),
                    "stage-order",
                    "after an adjustment nothing is as found any more",
                )
            if r.stage == "as-left" and adjustments and i < adjustments[0]:
                yield Flaw(
                    ("rounds", i, "stage"),
                    "stage-order",
                    "a round before the adjustment shows the balance as found, not as left",
                )
        if all(r.stage == "adjustment" for r in self.rounds):
            yield Flaw(("rounds",), "nothing-read", "at least one round needs readings")
