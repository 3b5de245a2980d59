"""A bench card as lines and tables, the same for the page and for the text."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

Data = Mapping[str, Any]

_STAGES = {"as-found": "before any adjustment", "as-left": "after an adjustment"}


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


def card_view(card: Data) -> dict[str, Any]:
    """What page and text show, in their order."""
    return {
        "card": card,
        "steps": [
            {"text": step["text"], **_shown([card["readings"][i] for i in step["readings"]])}
            for step in card["steps"]
        ],
        "verdicts": _verdicts(card),
        "combined": [_combined(row) for row in card["combined"]],
        "decided": list(_decided(card)),
        "about": list(_about(card)),
    }


def _shown(readings: Sequence[Data]) -> dict[str, Any]:
    """Readings of one step: a table where there are many of a kind, otherwise one line each."""
    if len(readings) > 2:
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
                "word": "Go on" if started else word(verdict),
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
    verdicts = list(dict.fromkeys(v for row in rows for v in row["texts"]))
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
    return texts or {"fail": ["any display"]}


def _verdicts(card: Data) -> list[dict[str, str]]:
    """What each verdict means at the bench, of those that the ranges can give."""
    given = {band["verdict"] for reading in card["readings"] for band in reading["bands"]}
    found = []
    for verdict in ("pass", "conditional-pass", "conditional-fail"):
        if verdict in given:
            use = "the balance may be used" if verdict in card["use_on"] else "do not use it"
            found.append({"verdict": verdict, "word": word(verdict), "text": use})
    outside = "any display outside; the ends of a range belong to it"
    found.append({"verdict": "fail", "word": word("fail"), "text": outside})
    return found


def _combined(row: Data) -> str:
    lower, upper = row["lower_limit"], row["upper_limit"]
    if lower is not None and upper is not None and lower == f"-{upper}":
        limits = f"within {upper}"
    else:
        parts = [f"{word} {end}" for word, end in (("from", lower), ("up to", upper)) if end]
        limits = " ".join(parts)
    return f"{row['title']} {limits}"


def _decided(card: Data) -> Iterator[str]:
    """Limit, uncertainty and rule of each criterion, once."""
    seen = set()
    for reading in card["readings"]:
        figures = reading["criterion"]
        if figures is None or figures["decision_rule"] is None:
            continue
        ends = [figures["lower_limit"], figures["upper_limit"]]
        shown = " to ".join("no limit" if end is None else f"{end:.10g}" for end in ends)
        kind = figures["name"]
        key = (kind, shown if reading["given"] is None else None, reading["reading"])
        if key in seen:
            continue
        seen.add(key)
        yield (
            f"{kind} ({reading['title']}): {shown} {figures['unit']}; "
            f"U = {figures['expanded_uncertainty']:.10g} {figures['unit']}; "
            f"{figures['decision_rule']}; {figures['limit_source']}"
        )


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
