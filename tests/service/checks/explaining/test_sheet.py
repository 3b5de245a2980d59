"""The sheet: what a step says, how its result stands in later ones, that none is there twice."""

from decimal import Decimal

import pytest

from weighworthy_service.checks.explaining.formula import formula, stated
from weighworthy_service.checks.explaining.functions import ascending, choice, sqrt
from weighworthy_service.checks.explaining.sheet import Sheet, Where

D = stated("d", Decimal("0.0010"), "request /d")
N = stated("n", 3, "request /n")


@pytest.fixture
def sheet():
    return Sheet()


def test_a_step_that_ends(sheet):
    figure = sheet.step("a product", "p", D * N, "g", gives=["/here"])
    (step,) = sheet.steps
    assert (step.number, step.formula, step.figures) == (1, "d * n", "0.0010 * 3")
    assert (step.result, step.exact, step.digits, step.shown_digits) == ("0.003", None, None, 15)
    assert step.where == (Where("d", "0.0010", "request /d"), Where("n", "3", "request /n"))
    assert (figure.text, figure.origin) == ("0.003", "step 1")


def test_a_quotient_without_end_stays_one(sheet):
    third = sheet.step("a third", "t", D / N)
    # 0.001/3 and then, exactly, 0.001.
    assert (sheet.steps[0].result, sheet.steps[0].exact) == ("0.000333333333333333", "0.001/3")
    assert sheet.steps[0].digits == 15
    sheet.step("thrice", "w", 3 * third)
    assert (sheet.steps[1].figures, sheet.steps[1].result) == ("3 * (0.001/3)", "0.001")
    assert sheet.steps[1].exact is None


def test_a_root_goes_on_with_the_digits_it_is_shown_with(sheet):
    root = sheet.step("a root", "r", sqrt(formula(2)))
    # √2 = 1.414 213 562 373 095 05 to 18 digits; 15 of them are 1.414 213 562 373 10.
    assert (sheet.steps[0].result, sheet.steps[0].digits) == ("1.4142135623731", 15)
    assert sheet.steps[0].shown_digits == 10
    sheet.step("its square", "s", root**2)
    # 1.4142135623731² = 2.000 000 000 000 014…
    assert sheet.steps[1].result == "2.00000000000001"


def test_a_root_can_have_more_digits(sheet):
    root = sheet.step("a root", "r", sqrt(formula(2)), digits=34)
    # OEIS A002193 (from memory), to 40 digits: 1.414213562373095048801688724209698078569.
    assert (sheet.steps[0].result, sheet.steps[0].digits) == (
        "1.414213562373095048801688724209698",
        34,
    )
    assert root.text == sheet.steps[0].result


@pytest.mark.parametrize(
    ("value", "text"),
    [("1e-11", "0.00000000001"), ("1e-13", "1e-13"), ("2.5e20", "250000000000000000000")],
)
def test_how_small_and_large_ones_are_written(sheet, value, text):
    sheet.step("one", "x", sqrt(formula(Decimal(value) ** 2)))
    assert sheet.steps[0].result == text


def test_the_same_formula_of_the_same_figures_is_one_step(sheet):
    one = sheet.step("a product", "p", D * N, gives=["/one"])
    other = sheet.step("again", "q", D * N, gives=["/two"])
    assert len(sheet.steps) == 1
    assert sheet.steps[0].gives == ["/one", "/two"]
    assert (one.origin, one.symbol, other.symbol) == ("step 1", "p", "q")
    sheet.also(one, "/three", "/one")
    assert sheet.steps[0].gives == ["/one", "/two", "/three"]
    sheet.step("of other figures", "p", stated("d", Decimal("0.001"), "request /e") * N)
    sheet.step("of another unit", "p", D * N, "g")
    assert len(sheet.steps) == 3


def test_figures_of_one_name_are_counted(sheet):
    other = stated("d", Decimal("0.002"), "request /e")
    sheet.step("a sum", "s", D + other + N + D)
    assert sheet.steps[0].formula == "d1 + d2 + n + d1"
    assert [where.name for where in sheet.steps[0].where] == ["d1", "d2", "n"]


def test_a_verdict_stands_in_quotation_marks_where_it_is_used(sheet):
    said = sheet.step("verdict", "v", choice(ascending(D, N), "pass", "fail"))
    assert (sheet.steps[0].result, sheet.steps[0].digits, said.text) == ("pass", None, '"pass"')
