"""What a logbook holds: entries and results, as values.

Named tuples, not frozen dataclasses: the logbook of a site has hundreds of thousands of them.
"""

from collections.abc import Mapping
from datetime import datetime
from decimal import Decimal
from types import MappingProxyType
from typing import Any, Final, NamedTuple

ENTRY_KINDS: Final = (
    "out-of-service",
    "move",
    "power-off",
    "weights-replaced",
    "cleaning",
    "service",
    "adjustment",
    "check",
    "back-in-service",
    "assessment",
)
# Of entries of one instrument at one instant, the earlier in this tuple counts as the earlier:
# what asks for a check comes before a check of the same minute.
RANK: Final = MappingProxyType({kind: position for position, kind in enumerate(ENTRY_KINDS)})
# The occasion, as schedules name it, that an entry is.
OCCASION_OF: Final = MappingProxyType(
    {
        "move": "moved",
        "power-off": "power-off",
        "adjustment": "after-adjustment",
        "service": "after-service",
        "weights-replaced": "new-weights",
        "back-in-service": "set-up",
    }
)
# After these the balance may show another error than before; a service may have adjusted it.
ADJUSTING: Final = frozenset({"adjustment", "service"})


class CheckSaid(NamedTuple):
    """What a check entry says, whoever judged it.

    `usable`: may the balance be used from now on; None: nothing was judged. `lets_use_as_found`:
    the same of the time before; None: it says nothing of that. `would_let_use`: of a void check,
    what it would have said. `adjusted`: the balance was adjusted in its course. `criteria` and
    `results` are those of the answer in their JSON form (g or %), empty where a trusted answer has
    none. `weights`: name to a text that changes when the certificate does; `weights_due`: name to
    date; empty: not known. `profile`: what it was judged by, `id@revision`; None: not told.
    """

    check: str
    verdict: str | None
    usable: bool | None
    lets_use_as_found: bool | None
    would_let_use: bool | None
    adjusted: bool
    trusted: bool
    criteria: tuple[Mapping[str, Any], ...] = ()
    results: Mapping[str, Any] = MappingProxyType({})
    weights: Mapping[str, str] = MappingProxyType({})
    weights_due: Mapping[str, str] = MappingProxyType({})
    profile: str | None = None

    @property
    def valid(self) -> bool:
        """Whether it is neither void nor without any judged criterion."""
        return self.verdict is not None and self.verdict != "void"

    @property
    def fails(self) -> bool:
        """Whether it takes the balance out: it is valid and does not let it be used; or it is void,
        and would have failed, or the part that is valid did fail as found."""
        if self.verdict is not None and self.verdict != "void":
            return self.usable is False
        return self.would_let_use is False or self.lets_use_as_found is False


class Assessment(NamedTuple):
    """A person's decision about results. `outcome`: stands, corrected, withdrawn."""

    results: tuple[str, ...]
    cause: str
    outcome: str
    reason: str


class Entry(NamedTuple):
    """One entry. `at` has its offset to UTC; `place` is where it stands in the request."""

    id: str
    kind: str
    at: datetime
    instrument: str
    by: str | None = None
    note: str | None = None
    said: CheckSaid | None = None
    assessment: Assessment | None = None
    place: str = ""


class Result(NamedTuple):
    """A reported moisture result. `loss` and limits in %, `initial_mass` in g; None: not stated."""

    id: str
    instrument: str
    at: datetime
    loss: Decimal | None = None
    initial_mass: Decimal | None = None
    method: str | None = None
    lower_limit: Decimal | None = None
    upper_limit: Decimal | None = None


class Because(NamedTuple):
    """What a conclusion rests on: an entry's id, or the place of a rule, and a sentence."""

    entry: str | None
    rule: str | None
    sentence: str
