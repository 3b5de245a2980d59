"""A logbook that was sent: what it is asked about, and its entries, each read when its turn comes.

Faults of entries are collected and told together: a logbook with holes would answer wrongly.
"""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from datetime import datetime, time
from decimal import Decimal
from typing import Any, Final, NamedTuple, Protocol

from weighworthy_service.logbook.calendar import Calendar, Closed, Open, Shift
from weighworthy_service.logbook.entries import Entry, Result
from weighworthy_service.logbook.quick import QuickLines
from weighworthy_service.logbook.reading import EntryReader, EntryRefused
from weighworthy_service.logbook.requirements import Requirement, Requiring
from weighworthy_service.metrology.instrument import Instrument
from weighworthy_service.profiles.document import Profile
from weighworthy_service.profiles.refusal import from_flaws, refusal_of
from weighworthy_service.wire.coded import MAX_ERRORS, FieldError, nearest
from weighworthy_service.wire.request import InstrumentForm

# Rules choose by id, model and site alone, so that any d will do where none is stated.
_ANY_INTERVAL: Final = Decimal(1)
_INSTRUMENT: Final = InstrumentForm()


class Sent(Protocol):
    """An entry as it was sent: its JSON pointer and, in words, the line or row that it stands in.

    `line`: what it was read from, if that is a line of JSON of its own; then `document` reads it,
    and raises what refuses it. `errors`: why there is none, with pointers from that of the entry.
    """

    @property
    def line(self) -> bytes | None: ...
    @property
    def place(self) -> str: ...
    @property
    def where(self) -> str: ...
    @property
    def document(self) -> Any: ...
    @property
    def errors(self) -> Sequence[FieldError]: ...


class Balance(NamedTuple):
    """An instrument of a logbook and the methods it is used for.

    `interval_known`: whether its scale interval is stated; otherwise that of `instrument` is none.
    """

    instrument: Instrument
    methods: tuple[str, ...] = ()
    interval_known: bool = True


def balances_of(stated: Iterable[Mapping[str, Any]]) -> dict[str, Balance]:
    """The balances that a logbook lists, by id.

    Raises:
        Refusal: `invalid`: one is listed twice.
    """
    found: dict[str, Balance] = {}
    errors = []
    for position, one in enumerate(stated):
        form = {"scale_interval": _ANY_INTERVAL, **one}
        methods = form.pop("methods", None) or ()
        balance = Instrument(**form)
        if balance.id in found:
            said = f"the instrument {balance.id!r} is listed twice"
            errors.append(FieldError(f"/instruments/{position}/id", "twice", said))
        found[str(balance.id)] = Balance(balance, methods, "scale_interval" in one)
    if errors:
        raise refusal_of("invalid", errors[:MAX_ERRORS])
    return found


def calendar_of(stated: Mapping[str, Any] | None) -> Calendar | None:
    """The calendar of a logbook.

    Raises:
        Refusal: `invalid`: there is no such time zone, or spans of days end before they begin.
    """
    if stated is None:
        return None
    calendar = Calendar(
        stated["time_zone"],
        tuple(
            Shift(one["days"], time.fromisoformat(one["begin"]), time.fromisoformat(one["end"]))
            for one in stated.get("shifts") or ()
        ),
        tuple(Closed(one["first"], one["last"]) for one in stated.get("closed") or ()),
        tuple(Open(one["first"], one["last"], one["like"]) for one in stated.get("open") or ()),
    )
    if errors := from_flaws(calendar.flaws(), ("calendar",)):
        raise refusal_of("invalid", errors[:MAX_ERRORS])
    return calendar


def results_of(
    stated: Iterable[Mapping[str, Any]], listed: Mapping[str, Balance]
) -> tuple[Result, ...]:
    """The results that come with a logbook.

    Raises:
        Refusal: `invalid`: an id twice, limits that cross, an instrument that is not listed where
            some are.
    """
    results = tuple(Result(**one) for one in stated)
    errors, seen = [], set()
    for position, result in enumerate(results):
        if result.id in seen:
            said = f"the result {result.id!r} is there twice"
            errors.append(FieldError(f"/results/{position}/id", "twice", said))
        seen.add(result.id)
        if listed and result.instrument not in listed:
            said = f"the instrument {result.instrument!r} is not among those listed"
            path = f"/results/{position}/instrument"
            errors.append(FieldError(path, "instrument-not-listed", said))
        low, high = result.lower_limit, result.upper_limit
        if low is not None and high is not None and low > high:
            said = "the lower limit is above the upper one"
            errors.append(FieldError(f"/results/{position}/lower_limit", "contradiction", said))
    if errors:
        raise refusal_of("invalid", errors[:MAX_ERRORS])
    return results


class Book:
    """Entries up to a moment, and what the profile requires of their instruments."""

    def __init__(
        self,
        at: datetime,
        profile: Profile,
        listed: Mapping[str, Balance],
        reader: EntryReader,
        only: Collection[str] | None = None,
    ) -> None:
        """Raises: Refusal, `invalid`: `only` names an instrument that is not listed."""
        self.at, self.profile, self.reader = at, profile, reader
        self.listed = dict(listed)
        self._only = None if only is None else frozenset(only)
        if listed and only is not None:
            _refuse_unlisted(only, listed)
        self.read = self.later = self.of_others = 0
        self._requiring = Requiring(profile)

    def entries(self, sent: Iterable[Sent]) -> Iterator[Entry]:
        """Those not after the moment, as they come.

        Raises:
            Refusal: `invalid`, at the end or after 100 faults, for entries that cannot be read.
        """
        errors: list[FieldError] = []
        at, lines = self.at, QuickLines(self.reader)
        known, only = self.listed or None, self._only
        for one in sent:
            self.read += 1
            try:
                entry = self._entry(one, lines)
            except EntryRefused as refused:
                errors += [_placed(error, one) for error in refused.errors]
                if len(errors) >= MAX_ERRORS:
                    break
                continue
            if known is not None and entry.instrument not in known:
                said = f"the instrument {entry.instrument!r} is not among those listed"
                errors.append(
                    _placed(FieldError("/instrument", "instrument-not-listed", said), one)
                )
                continue
            if only is not None and entry.instrument not in only:
                self.of_others += 1
                continue
            if entry.at.tzinfo is not at.tzinfo:
                at = _in_offset_of(entry.at, at)
            if entry.at > at:
                self.later += 1
            elif not errors:
                yield entry
        if errors:
            raise refusal_of("invalid", errors[:MAX_ERRORS])

    def _entry(self, one: Sent, lines: QuickLines) -> Entry:
        line = one.line
        if line is not None and (quick := lines.read(line, one.place)) is not None:
            return quick
        if one.errors:
            raise EntryRefused(list(one.errors))
        document = one.document
        entry = self.reader.read(document, one.place)
        if line is not None:
            lines.learn(line, document, entry)
        return entry

    @property
    def names(self) -> list[str]:
        """The instruments that are answered for, as far as they are listed."""
        return [name for name in self.listed if self.answers_for(name)]

    def answers_for(self, name: str) -> bool:
        """Whether an instrument is among those asked about."""
        return self._only is None or name in self._only

    def balance(self, name: str) -> Balance:
        """As listed, or as its first check request describes it, or known by its id alone."""
        if name in self.listed:
            return self.listed[name]
        described = self.reader.described(name)
        if described:
            return Balance(_INSTRUMENT.load(dict(described)))
        return Balance(Instrument(_ANY_INTERVAL, name), interval_known=False)

    def required(self, name: str, method: str | None = None) -> tuple[Requirement, ...]:
        """What the profile requires of an instrument: for a method, or for all it is used for; with
        the ladders of kinds that it does not require."""
        balance = self.balance(name)
        methods = (method,) if method is not None else (None, *balance.methods)
        return self._requiring.of(balance.instrument, methods)


def _in_offset_of(other: datetime, at: datetime) -> datetime:
    """A moment in the offset of another, if there it has a date; Python compares times of one
    offset twenty times as quickly as others."""
    try:
        return at.astimezone(other.tzinfo)
    except OverflowError:
        return at


def by_instrument(entries: Iterable[Entry], names: Iterable[str] = ()) -> dict[str, list[Entry]]:
    """The entries of each instrument in their order; also of `names` that have none."""
    logs: dict[str, list[Entry]] = {name: [] for name in names}
    for entry in entries:
        logs.setdefault(entry.instrument, []).append(entry)
    return logs


def _refuse_unlisted(only: Collection[str], listed: Mapping[str, Balance]) -> None:
    errors = [
        FieldError(
            f"/only_instruments/{position}",
            "instrument-not-listed",
            f"the instrument {name!r} is not among those listed{nearest(name, tuple(listed))}",
        )
        for position, name in enumerate(only)
        if name not in listed
    ]
    if errors:
        raise refusal_of("invalid", errors[:MAX_ERRORS])


def _placed(error: FieldError, sent: Sent) -> FieldError:
    where = f"{sent.where}: " if sent.where else ""
    return FieldError(f"{sent.place}{error.pointer}", error.code, f"{where}{error.detail}")
