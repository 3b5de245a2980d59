"""How the commands about records say things: states in word and shape, a line for each reason."""

from collections.abc import Iterator
from unicodedata import category

from weighworthy.cli_common import counted
from weighworthy.record_results import ChainVerification, Verification

_SEALS = {
    "ok": "● sealed",
    "unsigned": "○ not signed",
    "unknown-key": "□ sealed by an unknown key",
    "altered": "■ ALTERED",
}
_WORST_FIRST = ("altered", "unknown-key", "unsigned")
_AGREES = {True: "● comes out again", False: "■ does NOT come out again"}


# What controls a terminal, turns the direction of writing or ends a line.
_NOT_SHOWN = ("Cc", "Cf", "Cn", "Co", "Cs", "Zl", "Zp")


def said_of(name: str, found: Verification) -> Iterator[str]:
    """A verification in a few lines; a word always goes with its shape."""
    return map(_one_line, _said_of(name, found))


def said_of_chain(name: str, found: ChainVerification) -> Iterator[str]:
    """What a chain comes to, and each record that is not in order."""
    return map(_one_line, _said_of_chain(name, found))


def _said_of(name: str, found: Verification) -> Iterator[str]:
    yield f"{name}: {_SEALS[found.seal]}, {_AGREES[found.agrees]}"
    key = f", key {found.key_id}" if found.key_id else ""
    yield f"    {found.digest}{key}, sealed at {found.data['sealed_at']}"
    yield f"    profile: {found.profile}; verdict: {found.verdict}"
    for reason in found.reasons:
        yield f"    {reason['pointer'] or 'record'}: {reason['message']} [{reason['code']}]"
    for one in (*found.numbers, *found.others):
        why = f" ({one['explanation']})" if one["explanation"] else ""
        yield f"    {one['pointer']}: {one['recorded']} recorded, {one['recomputed']} now{why}"


def _said_of_chain(name: str, found: ChainVerification) -> Iterator[str]:
    words = ["● unbroken" if found.unbroken else "■ BROKEN"]
    # Whoever alters records can link them anew: unbroken alone says little.
    words += [_SEALS[state] for state in _WORST_FIRST if found.seals[state]][:1]
    agreeing = int(found.data["agreeing"])
    if agreeing != found.records:
        words.append(_AGREES[False])
    yield f"{name}: {', '.join(words)}"
    seals = ", ".join(f"{count} {seal}" for seal, count in found.seals.items() if count)
    counts = counted(found.records, "record", "records")
    yield f"    {counts}: {seals or 'none'}; {agreeing} come out again"
    first = found.data["first"]
    if first is not None and first["previous"] is not None:
        yield f"    first: follows {first['previous']}, which is not in this list"
    if found.last is not None:
        yield f"    last: {found.last['digest']}, sealed at {found.last['sealed_at']}"
    for one in found.breaks:
        yield f"    {name}:{one['line']}: {one['message']} [{one['code']}]"
    for fault in found.faults:
        for reason in fault["reasons"] or ({"message": "differs", "code": "differs"},):
            yield f"    {name}:{fault['line']}: {reason['message']} [{reason['code']}]"


def _one_line(text: str) -> str:
    """A line in which no text of a record can say something in the name of the command."""
    return "".join("?" if category(c) in _NOT_SHOWN else c for c in text)
