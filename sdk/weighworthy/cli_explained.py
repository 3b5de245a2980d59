"""How the command writes a reckoning by hand: each step with its formula and its figures."""

from collections.abc import Iterable

from weighworthy.explained import ExplanationStep

_SIGNS = (("**", "^"), (" * ", " · "), ("<=", "≤"), ("sqrt(", "√("))
_WIDTH = 100


def explained(steps: Iterable[ExplanationStep]) -> str:
    """All steps, in the order of reckoning."""
    return "\n".join(line for step in steps for line in _lines(step))


def _lines(step: ExplanationStep) -> Iterable[str]:
    source = f"   ({step.source})" if step.source else ""
    yield f"[{step.step}] {step.what}{source}"
    reached = step.result if step.unit in (None, "1") else f"{step.result} {step.unit}"
    if step.exact is not None:
        reached = f"{step.exact} = {reached}"
    # A figure taken over as it is, or one of the formula itself, is not written twice.
    known = (step.symbol, step.result, f'"{step.result}"')
    parts = [part for part in (step.formula, step.figures) if part not in known]
    said = [*(_signs(part) for part in dict.fromkeys(parts)), reached]
    whole = " = ".join([step.symbol, *said])
    origins = [f"{w.name}: {w.origin}" for w in step.where if not w.origin.startswith("step ")]
    before = [f"{w.name}: [{w.origin[5:]}]" for w in step.where if w.origin.startswith("step ")]
    if len(whole) <= _WIDTH:
        yield f"     {whole}"
    else:
        yield f"     {step.symbol} = {said[0]}"
        yield from (f"     {' ' * len(step.symbol)} = {part}" for part in said[1:])
    if step.where:
        yield f"       {'; '.join([*origins, *before])}"


def _signs(text: str) -> str:
    for written, sign in _SIGNS:
        text = text.replace(written, sign)
    return text
