"""What is called alike on paper whatever the kind of check."""

from collections.abc import Mapping
from typing import Final

from weighworthy_service.checks.pages import marked
from weighworthy_service.evidence.reports.words import Words

_VERDICTS: Final = {
    "pass": marked("Pass"),
    "conditional-pass": marked("Conditional pass"),
    "conditional-fail": marked("Conditional fail"),
    "fail": marked("Fail"),
    "void": marked("Void"),
}
_NO_VERDICT: Final = marked("No verdict")
STAGES: Final = {
    "as-found": marked("as found"),
    "adjustment": marked("adjustment"),
    "as-left": marked("as left"),
}
SEVERITIES: Final = {
    "void": marked("Voids the check"),
    "no-pass": marked("Forbids a pass"),
    "warning": marked("Warning"),
    "note": marked("Note"),
}
VALUES: Final = {
    **STAGES,
    "routine": marked("routine"),
    "set-up": marked("set-up"),
    "moved": marked("after a move"),
    "power-off": marked("after a power-off"),
    "suspected": marked("on suspicion"),
    "after-adjustment": marked("after an adjustment"),
    "after-service": marked("after a service"),
    "new-weights": marked("with new weights"),
    "release": marked("release"),
    "other": marked("other"),
    "nearest": marked("to the nearest step"),
}
FLAGS: Final = {True: marked("yes"), False: marked("no")}
FIELDS: Final = {
    "id": marked("Identification"),
    "model": marked("Model"),
    "site": marked("Site"),
    "capacity": marked("Capacity"),
    "scale_interval": marked("Scale interval d"),
    "verification_interval": marked("Verification interval e"),
    "loss_interval": marked("Step of the displayed loss"),
    "loss_rounding": marked("Rounding of the displayed loss"),
    "repeatability": marked("Repeatability s"),
    "repeatability_observations": marked("Observations behind s"),
    "eccentricity": marked("Eccentricity"),
    "hot_zero_drift": marked("Hot zero drift"),
    "hot_zero_correction": marked("Hot zero correction"),
    "performed_at": marked("Performed"),
    "performed_by": marked("Performed by"),
    "occasion": marked("Occasion"),
    "method": marked("Method"),
    "warm_up": marked("Switched on for"),
    "temperature": marked("Air temperature"),
    "relative_humidity": marked("Relative humidity"),
    "pressure": marked("Air pressure"),
    "stage": marked("Stage"),
    "load": marked("Load"),
    "zero": marked("Zero"),
    "indication": marked("Indication"),
    "chamber_temperature": marked("Chamber"),
    "stable": marked("Settled"),
}
READ_AS: Final = {
    "encoding": marked("Encoding"),
    "delimiter": marked("Delimiter"),
    "decimal": marked("Decimal mark"),
    "thousands": marked("Thousands mark"),
    "header_row": marked("Header in row"),
    "sheet": marked("Sheet"),
    "stated": marked("Stated"),
    "assumed": marked("Assumed"),
}


def called(words: Words, table: Mapping[str, str], name: str) -> str:
    """A name on paper; one that the table does not have is written out."""
    known = table.get(name)
    if known is not None:
        return words.text(known)
    plain = name.replace("_", " ").replace("-", " ")
    return plain[:1].upper() + plain[1:]


def verdict_word(words: Words, verdict: str | None) -> str:
    """A verdict on paper, also that there is none."""
    return words.text(_VERDICTS.get(verdict or "", _NO_VERDICT))
