"""What the fields and values of checks are called on paper."""

from typing import Final

from weighworthy_service.evidence.reports.words import Words, marked

_VERDICTS: Final = {
    "pass": marked("Pass"),
    "conditional-pass": marked("Conditional pass"),
    "conditional-fail": marked("Conditional fail"),
    "fail": marked("Fail"),
    "void": marked("Void"),
}
_NO_VERDICT: Final = marked("No verdict")
KINDS: Final = {
    "span": marked("Span"),
    "linearity": marked("Linearity"),
    "simulated-loss": marked("Simulated loss"),
}
CRITERIA: Final = {
    "span_error": marked("Error of indication"),
    "zero_return": marked("Return to zero"),
    "span_agreement": marked("Agreement of rounds"),
    "point_error": marked("Largest error of indication"),
    "terminal_nonlinearity": marked("Departure from the line through zero and highest load"),
    "zero_based_nonlinearity": marked("Departure from the best line through zero"),
    "independent_nonlinearity": marked("Departure from the best free line"),
    "least_squares_nonlinearity": marked("Departure from the least-squares line"),
    "hysteresis": marked("Hysteresis"),
    "loss_error": marked("Error of the loss"),
}
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
    "up": marked("up"),
    "down": marked("down"),
    "wet": marked("of the initial load"),
    "dry": marked("of the final load"),
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
    "initial": marked("at the start"),
    "final": marked("at the end"),
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
    "heating": marked("Chamber heated"),
    "basis": marked("Loss as a share"),
    "temperature": marked("Air temperature"),
    "relative_humidity": marked("Relative humidity"),
    "pressure": marked("Air pressure"),
    "stage": marked("Stage"),
    "direction": marked("Direction"),
    "load": marked("Load"),
    "zero": marked("Zero"),
    "indication": marked("Indication"),
    "zero_after": marked("Zero after"),
    "chamber_temperature": marked("Chamber"),
    "stable": marked("Settled"),
    "displayed_loss": marked("Displayed loss"),
    "error": marked("Error"),
    "expanded_uncertainty": marked("U"),
    "verdict": marked("Verdict"),
    "loss": marked("Loss found"),
    "expected_loss": marked("Loss expected"),
    "loss_from_masses": marked("Loss from the indications"),
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


def called(words: Words, table: dict[str, str], name: str) -> str:
    """A name on paper; one that the table does not have is written out."""
    known = table.get(name)
    if known is not None:
        return words.text(known)
    plain = name.replace("_", " ").replace("-", " ")
    return plain[:1].upper() + plain[1:]


def verdict_word(words: Words, verdict: str | None) -> str:
    """A verdict on paper, also that there is none."""
    return words.text(_VERDICTS.get(verdict or "", _NO_VERDICT))


def value_text(words: Words, value: object) -> str | None:
    """A stated word or flag; None: it is none that is known."""
    known = FLAGS.get(value) if isinstance(value, bool) else VALUES.get(str(value))
    return None if known is None else words.text(known)
