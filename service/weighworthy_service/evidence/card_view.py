"""A bench card as lines and tables, the same for the page and for the text."""

from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from typing import Any, Final

from weighworthy_service.checks.kind import Kind
from weighworthy_service.checks.limit_words import amount_text, limits_text, listed
from weighworthy_service.checks.registry import kind_named
from weighworthy_service.evidence.card_stop import reserve, stop
from weighworthy_service.profiles.card_check import card_part

Data = Mapping[str, Any]

_STAGES: Final = {"as-found": "before any adjustment", "as-left": "after an adjustment"}
_TOGETHER: Final = (
    "All readings in their ranges are not enough: of the whole run the service also judges"
)
_ALONE: Final = "No reading decides alone: the service judges of the whole run"
_ORDER: Final = ("pass", "conditional-pass", "conditional-fail", "fail")


def range_text(band: Data) -> str:
    """Both ends included."""
    first, last = band["from"], band["to"]
    if first is None and last is None:
        return "whatever is displayed"
    if first is None:
        return f"{last} or less"
    if last is None:
        return f"{first} or more"
    return f"{first} only" if first == last else f"{first} to {last}"


def word(verdict: str) -> str:
    """A verdict as it is written for people."""
    return verdict.replace("-", " ").capitalize()


def weight_text(weight: Data) -> str:
    """A weight with what tells it from others."""
    due = weight["due_on"]
    more = [weight["nominal"], weight["weight_class"], weight["certificate"]]
    more += [f"due {due}" if due else "no due date"]
    return f"{weight['name']} ({', '.join(part for part in more if part)})"


def card_view(card: Data) -> dict[str, Any]:
    """What page and text show, in their order."""
    halt = stop(card)
    steps = [] if halt is not None else card["steps"]
    shown = [card["readings"][i] for step in steps for i in step["readings"]]
    return {
        "card": card,
        "stop": halt,
        "reserve": reserve(card),
        "steps": [
            {"text": step["text"], **_shown(card, [card["readings"][i] for i in step["readings"]])}
            for step in steps
        ],
        "verdicts": _verdicts(card, shown),
        "together": _TOGETHER if any(step["readings"] for step in steps) else _ALONE,
        "combined": [] if halt is not None else list(_combined(card["combined"])),
        "decided": list(_decided(card)),
        "about": list(_about(card)),
    }


def _shown(card: Data, readings: Sequence[Data]) -> dict[str, Any]:
    """Readings of one step: a table where each goes with a load or a start, otherwise lines."""
    by_load = card_part(kind_named(card["check"])).by_load
    if readings and (by_load or readings[0]["given"] is not None):
        return {"lines": [], "table": _table(readings)}
    return {"lines": [_line(reading) for reading in readings], "table": None}


def _line(reading: Data) -> dict[str, Any]:
    stage = _STAGES.get(reading["stage"])
    label = reading["title"] if stage is None else f"{reading['title']}, {stage}"
    started = reading["reading"] == "initial"
    if started:
        label += "; start again if it is outside of this" if reading["required"] else " should be"
    elif not reading["required"]:
        label += " (if read)"
    return {
        "label": f"{label[0].upper()}{label[1:]}",
        "bands": [
            {
                "verdict": verdict,
                "word": "Go on" if started and verdict == "pass" else word(verdict),
                "text": " and ".join(texts),
            }
            for verdict, texts in _by_verdict(reading).items()
        ],
    }


def _table(readings: Sequence[Data]) -> dict[str, Any]:
    by_start = readings[0]["given"] is not None
    rows = []
    for reading in readings:
        load = " + ".join(reading["load"])
        head = reading["given"] if by_start else f"{load} ({reading['nominal']})"
        texts = _by_verdict(reading)
        rows.append(
            {"head": head, "texts": {verdict: " and ".join(t) for verdict, t in texts.items()}}
        )
    verdicts = [v for v in (*_ORDER, "void") if any(v in row["texts"] for row in rows)]
    head = "Display at the start" if by_start else "Load"
    return {
        "head": head,
        "what": readings[0]["title"],
        "verdicts": [{"verdict": verdict, "word": word(verdict)} for verdict in verdicts],
        "rows": rows,
        "note": "For another display at the start, have the check evaluated." if by_start else None,
    }


def _by_verdict(reading: Data) -> dict[str, list[str]]:
    texts: dict[str, list[str]] = {}
    for band in reading["bands"]:
        texts.setdefault(band["verdict"], []).append(range_text(band))
    if texts:
        return texts
    # A verdict that lets nobody use the balance needs no range of its own.
    return {"void" if reading["elsewhere"] == ["void"] else "fail": ["any display"]}


def _verdicts(card: Data, readings: Sequence[Data]) -> list[dict[str, str]]:
    """What each verdict means at the bench, of those that the ranges can give."""
    given = {band["verdict"] for reading in readings for band in reading["bands"]}
    found = []
    for verdict in _ORDER[:-1]:
        if verdict in given:
            use = "the balance may be used" if verdict in card["use_on"] else "do not use it"
            found.append({"verdict": verdict, "word": word(verdict), "text": use})
    judged = [reading for reading in readings if reading["reading"] != "initial"]
    other = {verdict for reading in judged for verdict in reading["elsewhere"]}
    if other & {"fail", "conditional-fail"} and given:
        words = "Fail or conditional fail" if "conditional-fail" in other - given else "Fail"
        outside = f"any {'other ' if 'void' in other else ''}display outside"
        text = f"{outside}; the ends of a range belong to it"
        found.append({"verdict": "fail", "word": words, "text": text})
    if "void" in other:
        capacity = card["instrument"]["capacity"]
        above = f", like any display above the capacity, {capacity}" if capacity else ""
        text = f"counts for nothing{above}; tell the person responsible"
        found.append({"verdict": "void", "word": word("void"), "text": text})
    return found


def _combined(rows: Sequence[Data]) -> Iterator[str]:
    for row in rows:
        more = [other for other in rows if other["criterion"] == row["criterion"]]
        at = f" (from a load of {row['from_load']} on)" if len(more) > 1 else ""
        ends = (row["lower_limit"], row["upper_limit"])
        unit = next((text.partition(" ")[2] for text in ends if text is not None), "g")
        lower, upper = (None if text is None else Decimal(text.partition(" ")[0]) for text in ends)
        yield f"{row['title']} {limits_text(lower, upper, unit)}{at}"


def _decided(card: Data) -> list[dict[str, str]]:
    """Limit, uncertainty and rule of each criterion; what is alike for several is said once."""
    alike: dict[tuple[str, str, str], list[str]] = {}
    starts = set()
    for reading in card["readings"]:
        if reading["given"] is not None:
            # The starts of a loss differ in nothing that a reader needs twice.
            if reading["reading"] in starts:
                continue
            starts.add(reading["reading"])
        stages = [(reading["stage"], reading["criterion"])]
        if reading["criterion_as_left"] is not None:
            stages = [("as-found", reading["criterion"]), ("as-left", reading["criterion_as_left"])]
        for stage, figures in stages:
            if figures is not None and figures["decision_rule"] is not None:
                name = figures["name"].replace("_", " ").capitalize()
                about = alike.setdefault((name, *_figures(figures)), [])
                apart = _told_apart(kind_named(card["check"]), reading, stage)
                # Said once of several loads: at 2 g and 5 g.
                apart = apart.removeprefix("at ") if about else apart
                about += [apart] if apart and apart not in about else []
    return [
        {"name": f"{name} {listed(about) if about else ''}".strip(), "limits": limits, "more": more}
        for (name, limits, more), about in alike.items()
    ]


def _told_apart(kind: Kind, reading: Data, stage: str | None) -> str:
    """What sets a reading apart from others of its criterion."""
    if stage is not None:
        return _STAGES[stage]
    return card_part(kind).told_apart(reading)


def _figures(figures: Data) -> tuple[str, str]:
    lower, upper, expanded = (
        None if value is None else Decimal(repr(value))
        for value in map(figures.get, ("lower_limit", "upper_limit", "expanded_uncertainty"))
    )
    unit = figures["unit"]
    stated = amount_text(expanded or Decimal(0), unit)
    more = f"U = {stated}; {figures['decision_rule']}; {figures['limit_source']}"
    return limits_text(lower, upper, unit), more


def _about(card: Data) -> Iterator[tuple[str, str]]:
    """Particulars in short, as (name, value)."""
    instrument = card["instrument"]
    yield "Scale interval d", instrument["scale_interval"]
    if card["method"] is not None:
        yield "Method", card["method"]
    if card["occasion"] != "routine":
        yield "Occasion", card["occasion"]
    if card["basis"] == "dry":
        yield "Basis", "dry"
    if card["schedule"] is not None:
        yield "Due", card["schedule"]
    if card["performed_on"] is not None:
        yield "Made for", card["performed_on"]
    if card["valid_until"] is not None:
        yield "Holds to", card["valid_until"]
