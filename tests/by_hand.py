"""Reckons the steps of an explanation again, sharing no code with what wrote them.

Formulas are parsed by Python's `ast` and worked out in decimals of 120 digits; tables come from
scipy, in doubles. Used by tests through the fixture `by_hand`.
"""

import ast
import re
from collections.abc import Iterator, Mapping
from decimal import ROUND_HALF_EVEN, ROUND_UP, Context, Decimal
from functools import cache
from itertools import pairwise
from typing import Any

from scipy import special

WIDE = Context(prec=120, rounding=ROUND_HALF_EVEN, Emax=10**9, Emin=-(10**9))
# What 120 digits leave of a difference that is nothing.
NOTHING = Decimal("1e-60")
# How far from the middle between two last digits is still the middle.
TIE = Decimal("1e-20")
# Probabilities are differences of two table values, each within a few steps of doubles at 1.
OF_TABLES = Decimal("2e-15")


def significant(value: Decimal, digits: int, rounding: str = ROUND_HALF_EVEN) -> Decimal:
    return Context(prec=digits, rounding=rounding, Emax=10**9, Emin=-(10**9)).plus(value)


def of_float(value: float) -> Decimal:
    return Decimal.from_float(float(value))


def to_multiple(value: Decimal, step: Decimal) -> Decimal:
    return WIDE.multiply(WIDE.divide(value, step).to_integral_value(ROUND_HALF_EVEN), step)


def c4(n: int) -> Decimal:
    """√(2/(n - 1))·Γ(n/2)/Γ((n - 1)/2), by Γ(x + 1) = x·Γ(x) from Γ(1) = 1 and Γ(1/2) = √π."""
    factor = WIDE.sqrt(WIDE.divide(Decimal(2), Decimal(n - 1)))
    return WIDE.divide(WIDE.multiply(factor, gamma(n)), gamma(n - 1))


def gamma(twice: int) -> Decimal:
    """Of half a whole number above zero."""
    if twice <= 2:
        return Decimal(1) if twice == 2 else WIDE.sqrt(archimedes())
    below = twice - 2
    return WIDE.multiply(WIDE.divide(Decimal(below), Decimal(2)), gamma(below))


@cache
def archimedes() -> Decimal:
    """π = 16 arctan(1/5) - 4 arctan(1/239) (Machin)."""

    def arctan(of: int) -> Decimal:
        total, k, power = Decimal(0), 0, WIDE.divide(Decimal(1), Decimal(of))
        while power > Decimal("1e-125"):
            part = WIDE.divide(power, Decimal(2 * k + 1))
            total = WIDE.add(total, part if k % 2 == 0 else part.copy_negate())
            k, power = k + 1, WIDE.divide(power, Decimal(of * of))
        return total

    return WIDE.subtract(WIDE.multiply(16, arctan(5)), WIDE.multiply(4, arctan(239)))


VERDICTS = ("pass", "conditional-pass", "conditional-fail", "fail")
FUNCTIONS = {
    "sqrt": WIDE.sqrt,
    "exp": WIDE.exp,
    "abs": Decimal.copy_abs,
    "min": min,
    "max": max,
    "round_half_even": lambda x, digits: significant(x, int(digits)),
    "round_up": lambda x, digits: significant(x, int(digits), ROUND_UP),
    "round_to_multiple": to_multiple,
    "worst": lambda *verdicts: max(verdicts, key=VERDICTS.index),
    "t_quantile": lambda p, nu: of_float(special.stdtrit(float(nu), float(p))),
    "t_probability": lambda x, nu: of_float(special.stdtr(float(nu), float(x))),
    "chi_square_quantile": lambda p, nu: of_float(2 * special.gammaincinv(float(nu) / 2, float(p))),
    "c4": lambda n: c4(int(n)),
    "normal_quantile": lambda p: of_float(special.ndtri(float(p))),
    "normal_probability": lambda x: of_float(special.ndtr(float(x))),
}
OPERATIONS = {
    ast.Add: WIDE.add,
    ast.Sub: WIDE.subtract,
    ast.Mult: WIDE.multiply,
    ast.Div: WIDE.divide,
}


class Worked:
    """An expression, worked out with figures for its names."""

    def __init__(self, text: str, figures: Mapping[str, str]) -> None:
        self.text, self.figures = text, figures
        self.value = self._of(ast.parse(text, mode="eval").body)

    def _of(self, node: ast.expr) -> Any:  # noqa: PLR0911  a case each
        match node:
            case ast.Constant(value=str() as word):
                return word
            case ast.Constant():
                return Decimal(ast.get_source_segment(self.text, node) or "")
            case ast.Name(id=name):
                return Worked(self.figures[name], {}).value
            case ast.UnaryOp(op=ast.USub(), operand=operand):
                return self._of(operand).copy_negate()
            case ast.BinOp(left=base, op=ast.Pow(), right=ast.Constant(value=int() as power)):
                return WIDE.power(self._of(base), power)
            case ast.BinOp(left=left, op=op, right=right):
                return OPERATIONS[type(op)](self._of(left), self._of(right))
            case ast.Call(func=ast.Name(id=name), args=arguments, keywords=[]):
                return FUNCTIONS[name](*map(self._of, arguments))
            case ast.Compare(left=left, ops=ops, comparators=others):
                assert all(isinstance(op, ast.LtE) for op in ops)
                values = [self._of(left), *map(self._of, others)]
                return all(a <= b for a, b in pairwise(values))
            case ast.BoolOp(op=ast.And(), values=conditions):
                return all(map(self._of, conditions))
            case ast.IfExp(test=condition, body=then, orelse=otherwise):
                return self._of(then if self._of(condition) else otherwise)
        raise AssertionError(f"{ast.dump(node)} in {self.text}")


def shape(text: str, figures: Mapping[str, str]) -> Any:
    """The expression as a tree, with every number as it is written."""

    def of(node: Any) -> Any:
        match node:
            case ast.Constant():
                return ast.get_source_segment(text, node)
            case ast.Name(id=name) if name in figures:
                return shape(figures[name], {})
            case ast.AST():
                return (type(node).__name__, *(of(below) for _, below in ast.iter_fields(node)))
            case list():
                return tuple(map(of, node))
        return node

    return of(ast.parse(text, mode="eval").body)


def check_step(step: Mapping[str, Any]) -> Any:
    """That formula, figures and result of one step agree to every digit shown; gives its value."""
    figures = {where["name"]: where["figure"] for where in step["where"]}
    assert len(figures) == len(step["where"]), "two figures of one name"
    assert shape(step["formula"], figures) == shape(step["figures"], {}), step
    value = Worked(step["figures"], {}).value
    if isinstance(value, str):
        assert value == step["result"], step
        return value
    result = Decimal(step["result"])
    if step["exact"] is not None:
        assert step["digits"] is not None, step
        assert near(Worked(step["exact"], {}).value, value), step
    if step["digits"] is None:
        assert near(result, value), step
    else:
        # Half a unit of the last digit; a tie may fall either way by the last of all digits.
        half = WIDE.divide(unit(result, step["digits"]), Decimal(2))
        assert WIDE.subtract(value, result).copy_abs() <= half * (1 + TIE), step
        assert significant(result, step["digits"]) == result, step
    return value


def check_shown(step: Mapping[str, Any], value: Any, shown: Any) -> None:
    """That a place of the answer shows what a step comes to, to all digits that it has."""
    if isinstance(shown, str):
        if shown != value:
            numbers = [Decimal(number) for number in re.findall(r"\d+(?:\.\d+)?", shown)]
            assert value in numbers, (step, shown)
        return
    assert type(shown) in (int, float), (step, shown)
    if step["gives_digits"] == 15:
        assert float(significant(value, 15)) == shown, (step, shown)
        return
    assert step["gives_digits"] == 10, step
    # Half a unit of the last digit, and what doubles are off by; tables give doubles near 1.
    slack = OF_TABLES if from_tables(step) else NOTHING
    apart = WIDE.subtract(of_float(shown), value).copy_abs()
    assert apart <= unit(value, 10) * Decimal("0.51") + slack, (step, shown, apart)


def from_tables(step: Mapping[str, Any]) -> bool:
    """Whether a step rests on a table function."""
    return "probability(" in step["formula"] or "quantile(" in step["formula"]


def near(a: Decimal, b: Decimal) -> bool:
    """Equal but for the last of 120 digits."""
    return WIDE.subtract(a, b).copy_abs() <= NOTHING * max(1, abs(a), abs(b))


def unit(value: Decimal, digits: int) -> Decimal:
    """One in the last of so many digits."""
    return Decimal(1).scaleb(value.adjusted() - digits + 1) if value else NOTHING


def at(document: Any, pointer: str) -> Any:
    """What stands at a JSON pointer."""
    for part in pointer.split("/")[1:]:
        key = part.replace("~1", "/").replace("~0", "~")
        document = document[int(key)] if isinstance(document, list) else document[key]
    return document


# Positions in the request, and how many readings something is of: counted, not computed.
COUNTED = {"index", "from", "to", "points", "observations", "repeatability_observations"}


def numbers(document: Any, pointer: str = "") -> Iterator[str]:
    """Where the answer has numbers that were computed or measured."""
    if isinstance(document, dict):
        for key, below in document.items():
            token = key.replace("~", "~0").replace("/", "~1")
            if not (key in COUNTED and isinstance(below, int)):
                yield from numbers(below, f"{pointer}/{token}")
    elif isinstance(document, list):
        if not pointer.endswith("/rounds") or not all(isinstance(n, int) for n in document):
            for i, below in enumerate(document):
                yield from numbers(below, f"{pointer}/{i}")
    elif type(document) in (int, float):
        yield pointer


def check_answer(answer: Mapping[str, Any]) -> None:
    """Every step, every place that it gives, every chain, and that no number is left out."""
    steps, given = answer["explanation"], set()
    for number, step in enumerate(steps, 1):
        assert step["step"] == number
        value = check_step(step)
        for place in step["gives"]:
            check_shown(step, value, at(answer, place))
        given |= set(step["gives"])
        for where in step["where"]:
            kind, _, place = where["from"].partition(" ")
            if kind == "step":
                assert int(place) < number, step
                before = steps[int(place) - 1]
                said = before["exact"] or before["result"]
                assert where["figure"] in (said, f'"{said}"'), step
    computed = {"criteria": answer["criteria"], "results": answer["results"]}
    left_out = set(numbers(computed)) - given
    assert left_out == set(), left_out
    verdicts = {f"/criteria/{i}/verdict" for i, c in enumerate(answer["criteria"]) if c["verdict"]}
    whole = ["verdict", "verdict_as_found", "verdict_as_left", "verdict_if_valid"]
    verdicts |= {f"/{name}" for name in whole if answer[name] not in (None, "void")}
    assert verdicts <= given


# Findings of these codes are reckoned, too.
REASONS = {
    "few-degrees-of-freedom",
    "uncertainty-exceeds-tolerance",
    "weak-ratio",
    "rounding-exceeds-tolerance",
    "conformity-not-shown",
    "weights-too-coarse",
    "warm-up-short",
    "weight-outside-class",
    "certificate-too-coarse",
    "start-load-off-window",
    "loss-within-tolerance",
    "net-mass-too-small",
    "displayed-disagrees",
    "indication-far-from-load",
    "overload",
    "run-not-hot",
    "run-short",
    "first-run-falls-more",
    "hot-zero-drift-exceeded",
    "outside-certificate",
    "not-settled",
    "still-drifting",
    "scatter-below-floor",
    "centre-moved",
    "load-far-from-third",
    "repeatability-understated",
    "bias-significant",
}


def check_reasons(answer: Mapping[str, Any]) -> None:
    """That each finding that rests on figures has its step."""
    given = {place for step in answer["explanation"] for place in step["gives"]}
    for k, finding in enumerate(answer["findings"]):
        assert finding["code"] not in REASONS or f"/findings/{k}/code" in given, finding
