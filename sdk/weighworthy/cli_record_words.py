"""How the commands about records say things: states in word and shape, a line for each reason."""

from collections.abc import Iterator

from weighworthy.cli_common import counted
from weighworthy.record_results import ChainVerification, Verification

_SEALS = {
    "ok": "● sealed",
    "unsigned": "○ not signed",
    "unknown-key": "□ sealed by an unknown key",
    "altered": "■ ALTERED",
}
_AGREES = {True: "● comes out again", False: "■ does NOT come out again"}


def said_of(name: str, found: Verification) -> Iterator[str]:
    """A verification in a few lines; a word always goes with its shape."""
    yield f"{name}: {_SEALS[found.seal]}, {_AGREES[found.agrees]}"
    key = f", key {found.key_id}" if found.key_id else ""
    yield f"    {found.digest}{key}, sealed at {found.data['sealed_at']}"
    yield f"    profile: {found.profile}; verdict: {found.verdict}"
    for reason in found.reasons:
        yield f"    {reason['pointer'] or 'record'}: {reason['message']} [{reason['code']}]"
    for one in (*found.numbers, *found.others):
        why = f" ({one['explanation']})" if one["explanation"] else ""
        yield f"    {one['pointer']}: {one['recorded']} recorded, {one['recomputed']} now{why}"


def said_of_chain(name: str, found: ChainVerification) -> Iterator[str]:
    """What a chain comes to, and each record that is not in order."""
    links = "● unbroken" if found.unbroken else "■ BROKEN"
    seals = ", ".join(f"{count} {seal}" for seal, count in found.seals.items() if count)
    yield f"{name}: {links}"
    agreeing = f"{found.data['agreeing']} come out again"
    yield f"    {counted(found.records, 'record', 'records')}: {seals or 'none'}; {agreeing}"
    if found.last is not None:
        yield f"    last: {found.last['digest']}, sealed at {found.last['sealed_at']}"
    for one in found.breaks:
        yield f"    {name}:{one['line']}: {one['message']} [{one['code']}]"
    for fault in found.faults:
        for reason in fault["reasons"] or ({"message": "differs", "code": "differs"},):
            yield f"    {name}:{fault['line']}: {reason['message']} [{reason['code']}]"
