"""Answers of the logbook as they stand on paper: how balances stand, how their errors drift."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any, Final

from weighworthy_service.checks.pages import marked
from weighworthy_service.evidence.reports.annex import units_note
from weighworthy_service.evidence.reports.check_view import findings
from weighworthy_service.evidence.reports.drift_plot import drift_plot
from weighworthy_service.evidence.reports.figures import (
    aligned,
    decimal,
    digits_of,
    small,
    to_digits,
)
from weighworthy_service.evidence.reports.of_kind import kind_name, series_name
from weighworthy_service.evidence.reports.sentences import said, sentence
from weighworthy_service.evidence.reports.terms import called
from weighworthy_service.evidence.reports.words import Words

Data = Mapping[str, Any]

STATES: Final = {
    "out-of-service": marked("out of service"),
    "check-needed": marked("check needed"),
    "in-service": marked("in service"),
}
KIND_STATES: Final = {
    "in-force": marked("in force"),
    "due": marked("due"),
    "overdue": marked("overdue"),
    "asked": marked("asked for"),
    "never": marked("never passed"),
    "failed": marked("failed"),
    "failed-void": marked("void, and would have failed"),
}


_REACHED: Final = {
    "estimate": marked("about {day}"),
    "earliest": marked("earliest {day}"),
    "latest": marked("latest {day}"),
}


def status_view(words: Words, answer: Data) -> dict[str, Any]:
    """Balances that must not be used first, each with its next step and its reasons."""
    order = list(STATES)
    near = _Near(words, answer["at"])
    instruments = sorted(answer["instruments"], key=lambda one: order.index(one["state"]))
    return {
        "answer": answer,
        "at": instant(words, answer["at"]),
        "offset": near.offset,
        "counts": [
            (state, called(words, STATES, state), answer["summary"][state.replace("-", "_")])
            for state in order
        ],
        "instruments": [_standing(words, near, one) for one in instruments],
        "entries": entries(words, answer),
    }


def drift_view(words: Words, answer: Data) -> dict[str, Any]:
    """Each series with its chart, its slope and what the tests said."""
    return {
        "answer": answer,
        "at": instant(words, answer["at"]),
        "series": [_series(words, one) for one in answer["series"]],
        "units_note": units_note(words, (one["unit"] for one in answer["series"])),
        "left_out": [
            (one["instrument"], [*one["void"]], [*one["without_value"]])
            for one in answer["left_out"]
            if one["void"] or one["without_value"]
        ],
        "entries": entries(words, answer),
    }


class _Near:
    """Times and sentences in which the offset of one moment goes without saying."""

    def __init__(self, words: Words, at: str) -> None:
        self._words = words
        self.offset = words.offset(datetime.fromisoformat(at))

    def instant(self, text: str | None) -> str | None:
        """A time of an answer."""
        shown = instant(self._words, text)
        return None if shown is None else self._without(shown)

    def sentence(self, text: str) -> str:
        """A sentence of an answer."""
        return self._without(sentence(text, self._words.language))

    def _without(self, text: str) -> str:
        return text.replace(f" {self.offset}", "") if self.offset else text


def instant(words: Words, text: str | None) -> str | None:
    """A time of an answer."""
    return None if text is None else words.instant(datetime.fromisoformat(text))


def entries(words: Words, answer: Data) -> list[tuple[str, str]]:
    """What the answer rests on, in counts."""
    told = answer["entries"]
    return [
        (words.text("Entries sent"), words.number(told["sent"])),
        (words.text("used"), words.number(told["used"])),
        (words.text("later, left out"), words.number(told["later"])),
        (words.text("of other balances"), words.number(told["of_others"])),
        (words.text("checks judged anew"), words.number(told["judged_anew"])),
        (words.text("checks taken at their word"), words.number(told["trusted"])),
    ]


def _standing(words: Words, near: _Near, one: Data) -> dict[str, Any]:
    step = one["next_step"]
    return {
        "name": one["instrument"],
        "about": ", ".join(filter(None, (one["model"], one["site"]))),
        "state": one["state"],
        "word": called(words, STATES, one["state"]),
        "since": near.instant(one["since"]),
        "until": near.instant(one["until"]),
        "step": near.sentence(step["sentence"]),
        "checks": [
            {
                "kind": kind_name(words, check["check"]),
                "state": called(words, KIND_STATES, check["state"]),
                "since": near.instant(check["since"]),
                "due": near.instant(check["due_at"]),
                "overdue": near.instant(check["overdue_at"]),
                "passed": check["last_passed"],
                "step": near.sentence(check["next_step"]["sentence"]),
            }
            for check in one["checks"]
        ],
        "because": [
            (reason["entry"] or reason["rule"], near.sentence(reason["sentence"]))
            for reason in one["because"]
        ],
        "findings": findings(words, one["findings"]),
    }


def _series(words: Words, one: Data) -> dict[str, Any]:
    unit, power = small(one["unit"])
    return {
        "instrument": one["instrument"],
        "title": _title(words, one),
        "plot": drift_plot(words, one),
        "drifts": bool(_rate_of(one) and _rate_of(one)["differs_from_zero"]),
        "spoke": bool(one["chart"] and one["chart"]["signals"]),
        "facts": list(_facts(words, one, unit, power)),
        "tests": [
            (
                sentence(test["words"], words.language),
                digits_of(words, test["false_alarms"], digits=2, nothing="–"),
            )
            for test in (one["chart"] or {}).get("tests", ())
        ],
        "signals": list(_signals(words, one)),
        "findings": findings(words, one["findings"]),
        "unit": one["unit"],
        "points": _points(words, one),
        "figures": list(_figures(words, one)),
    }


def _title(words: Words, one: Data) -> str:
    name = series_name(words, one["check"], one["criterion"])
    parts = [f"{kind_name(words, one['check'])}: {name}"]
    if one["load"] is not None:
        parts.append(words.text("load {load} g", load=words.number(one["load"])))
    if one["expected_loss"] is not None:
        loss = words.number(to_digits(decimal(one["expected_loss"]), 6))  # type: ignore[arg-type]
        parts.append(words.text("expected loss {loss} %", loss=loss))
    if one["directions"]:
        parts.append(str(one["directions"]))
    return ", ".join(parts)


def _rate_of(one: Data) -> Any:
    return one["slope"]["least_squares"]


def _facts(words: Words, one: Data, unit: str, power: int) -> Iterator[tuple[str, str]]:
    slope = one["slope"]
    yield words.text("Points"), words.number(slope["points"])
    yield (
        words.text("Over"),
        f"{digits_of(words, slope['span_days'], 0, 4, '–')} {words.text('days')}",
    )
    for title, rate in (
        (words.text("Slope a year, least squares"), slope["least_squares"]),
        (words.text("Slope a year, median of pairs"), slope["pairs"]),
    ):
        if rate is not None:
            yield title, _rate(words, rate, unit, power)
    for title, name in (
        (words.text("Upper limit reached"), "upper"),
        (words.text("Lower limit reached"), "lower"),
    ):
        reach = (one["outlook"] or {}).get(name)
        if reach is not None:
            yield title, _reach(words, reach)
    for title, cut in ((words.text("Began"), one["began"]), (words.text("Ended"), one["ended"])):
        if cut is not None:
            yield title, f"{instant(words, cut['at'])}: {said(cut['why'], words.language)}"


def _rate(words: Words, rate: Data, unit: str, power: int) -> str:
    value, low, high = (
        digits_of(words, (rate[key] or 0) * 365.25, power, 2) for key in ("value", "low", "high")
    )
    between = words.text("{lower} to {upper}", lower=low, upper=high)
    telling = words.text("differs from zero")
    if not rate["differs_from_zero"]:
        telling = words.text("cannot be told from zero")
    return f"{value} {unit} ({between}): {telling}"


def _reach(words: Words, reach: Data) -> str:
    told = [
        words.text(form, day=words.day(datetime.fromisoformat(reach[key]).date()))
        for key, form in _REACHED.items()
        if reach[key] is not None
    ]
    return ", ".join(told) or words.text("not within ten years")


def _signals(words: Words, one: Data) -> Iterator[tuple[str, str, str]]:
    if one["chart"] is None:
        return
    names = {test["test"]: test["words"] for test in one["chart"]["tests"]}
    times = {point["entry"]: instant(words, point["at"]) for point in one["points"]}
    for signal in one["chart"]["signals"]:
        spoke = sentence(names.get(signal["test"], signal["test"]), words.language)
        at = times.get(signal["entry"]) or ""
        lasts = words.text("{count} in a row", count=words.number(signal["lasts"]))
        yield spoke, f"{signal['entry']}, {at}", lasts


def _points(words: Words, one: Data) -> list[list[str]]:
    """Every point with all digits, in the unit of the answer."""
    rows = one["points"]
    columns = [
        aligned(["–" if row[key] is None else words.number(row[key]) for row in rows])
        for key in ("value", "expanded_uncertainty", "lower_limit", "upper_limit")
    ]
    named = [[row["entry"], instant(words, row["at"]) or ""] for row in rows]
    return [[*names, *cells] for names, *cells in zip(named, *columns, strict=True)]


def _figures(words: Words, one: Data) -> Iterator[tuple[str, str]]:
    """All other figures of a series with all digits."""
    parts: list[tuple[str, Any]] = [("slope", one["slope"]), ("outlook", one["outlook"])]
    parts.append(("chart", one["chart"]))
    for name, part in parts:
        yield from _below(words, name, part)


def _below(words: Words, name: str, value: Any) -> Iterator[tuple[str, str]]:
    if isinstance(value, bool) or value is None or isinstance(value, str):
        return
    if isinstance(value, Mapping):
        for key, below in value.items():
            yield from _below(words, f"{name}.{key}", below)
    elif isinstance(value, Sequence):
        numbers = [one for one in value if isinstance(one, int | float)]
        if numbers:
            yield name, "  ".join(map(words.number, numbers))
        else:
            for position, below in enumerate(value):
                yield from _below(words, f"{name}[{position}]", below)
    else:
        yield name, words.number(value)
