from decimal import Decimal
from fractions import Fraction

import pytest

from weighworthy_service.metrology.instrument import Instrument
from weighworthy_service.metrology.limits import (
    Amount,
    Band,
    Basis,
    Interval,
    Limit,
    NotResolvedError,
    amount_pattern,
    read_amount,
)
from weighworthy_service.metrology.quantity import QuantityError

BALANCE = Instrument(Decimal("0.002"), capacity=Decimal(160), verification_interval=Decimal("0.01"))
BARE = Instrument(Decimal("0.002"))


def within(text):
    return Limit(within=read_amount(text))


def basis(load="40", unit="g", instrument=BALANCE):
    return Basis(instrument, None if load is None else Decimal(load), unit)


def sides(limit, **of):
    interval = limit.at(basis(**of))
    return interval if interval is None else (interval.lower, interval.upper)


@pytest.mark.parametrize(
    ("text", "size"),
    [
        ("0.005 g", Fraction(5, 1000)),
        ("1.5 mg", Fraction(15, 10_000)),
        ("200 ug", Fraction(2, 10_000)),
        ("2 d", Fraction(4, 1000)),  # 2 · 0.002 g
        ("0.5 e", Fraction(5, 1000)),  # 0.5 · 0.01 g
        ("0.02 % of load", Fraction(8, 1000)),  # 0.0002 · 40 g
        ("0.02 % of capacity", Fraction(32, 1000)),  # 0.0002 · 160 g
    ],
)
def test_a_symmetric_limit_in_every_unit(text, size):
    assert sides(within(text)) == (-size, size)


@pytest.mark.parametrize(
    ("text", "points"),
    [
        ("0.05 %", Fraction(5, 100)),
        ("2 d", Fraction(1, 100)),  # 100 · 2 · 0.002 g / 40 g, in percentage points
        ("1 e", Fraction(25, 1000)),  # 100 · 0.01 g / 40 g
    ],
)
def test_a_limit_of_a_loss_is_in_percentage_points(text, points):
    assert sides(within(text), unit="%") == (-points, points)


def test_one_side_alone_leaves_the_other_open():
    assert sides(Limit(upper=read_amount("3 mg"))) == (None, Fraction(3, 1000))
    assert sides(Limit(lower=read_amount("-3 mg"))) == (Fraction(-3, 1000), None)


def test_both_sides_may_differ():
    limit = Limit(lower=read_amount("-1 d"), upper=read_amount("3 mg"))
    assert sides(limit) == (Fraction(-2, 1000), Fraction(3, 1000))


BANDS = Limit(
    bands=(
        Band(read_amount("20 g"), within("1 mg")),
        Band(read_amount("5000 e"), within("2 mg")),  # 50 g
        Band(read_amount("50 % of capacity"), within("3 mg")),  # 80 g
        Band(read_amount("50000 d"), within("4 mg")),  # 100 g
    )
)


@pytest.mark.parametrize(
    ("load", "mg"),
    [("1", 1), ("20", 1), ("20.000001", 2), ("50", 2), ("50.1", 3), ("80", 3), ("100", 4)],
)
def test_the_upper_end_belongs_to_the_lower_band(load, mg):
    assert sides(BANDS, load=load) == (Fraction(-mg, 1000), Fraction(mg, 1000))


def test_above_the_last_band_there_is_no_limit():
    assert sides(BANDS, load="100.000001") is None


def test_band_ends_are_masses_for_a_loss_too():
    limit = Limit(bands=(Band(read_amount("10000 d"), within("0.02 %")),))  # up to 20 g
    assert sides(limit, load="20", unit="%") == (Fraction(-2, 100), Fraction(2, 100))
    assert sides(limit, load="20.001", unit="%") is None


SMALL, LARGE = within("1 mg"), within("0.02 % of load")  # 8 mg at 40 g, 0.8 mg at 4 g


def test_smaller_and_larger_of_depend_on_the_load():
    smaller, larger = Limit(smaller_of=(SMALL, LARGE)), Limit(larger_of=(SMALL, LARGE))
    assert sides(smaller, load="40") == (Fraction(-1, 1000), Fraction(1, 1000))
    assert sides(smaller, load="4") == (Fraction(-8, 10_000), Fraction(8, 10_000))
    assert sides(larger, load="40") == (Fraction(-8, 1000), Fraction(8, 1000))
    assert sides(larger, load="4") == (Fraction(-1, 1000), Fraction(1, 1000))


def test_each_side_is_chosen_by_itself():
    one_sided = Limit(upper=read_amount("0.5 mg"))
    assert sides(Limit(smaller_of=(SMALL, one_sided))) == (Fraction(-1, 1000), Fraction(5, 10_000))
    # The larger of a limit and none is none.
    assert sides(Limit(larger_of=(SMALL, one_sided))) == (None, Fraction(1, 1000))


def test_the_larger_of_one_side_each_limits_nothing():
    lower, upper = Limit(lower=read_amount("-1 mg")), Limit(upper=read_amount("1 mg"))
    assert sides(Limit(larger_of=(lower, upper))) is None
    assert sides(Limit(smaller_of=(lower, upper))) == (Fraction(-1, 1000), Fraction(1, 1000))


@pytest.mark.parametrize("form", ["smaller_of", "larger_of"])
def test_a_part_without_a_band_for_the_load_leaves_no_limit(form):
    assert sides(Limit(**{form: (BANDS, SMALL)}), load="150") is None


@pytest.mark.parametrize(
    ("limit", "of", "field"),
    [
        (within("1 e"), {}, "verification_interval"),
        (within("1 % of capacity"), {}, "capacity"),
        (within("1 % of load"), {"load": None}, "load"),
        (BANDS, {"load": None}, "load"),
        (within("1 d"), {"load": None, "unit": "%"}, "load"),
    ],
)
def test_what_a_relative_limit_lacks_is_named(limit, of, field):
    with pytest.raises(NotResolvedError) as caught:
        limit.at(basis(instrument=BARE, **of))
    assert caught.value.field == field


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ("1.5 mg", "0.0001"),
        ("2 mg", "0.001"),
        ("2.00 g", "0.01"),
        ("0.05 %", "0.01"),
        ("2 d", None),
        ("1 e", None),
        ("1 % of load", None),
    ],
)
def test_an_absolute_limit_has_its_last_written_digit_as_place(text, place):
    interval = within(text).at(basis(unit="%" if text.endswith("%") else "g"))
    expected = None if place is None else Decimal(place)
    assert (interval.lower_place, interval.upper_place) == (expected, expected)


def test_each_side_has_its_own_place():
    interval = Limit(lower=read_amount("-1.5 mg"), upper=read_amount("2 mg")).at(basis())
    assert interval == Interval(
        Fraction(-15, 10_000), Fraction(2, 1000), Decimal("0.0001"), Decimal("0.001")
    )


def test_amounts_of_nested_limits_are_all_found():
    limit = Limit(smaller_of=(BANDS, Limit(lower=read_amount("-7 mg"))))
    assert [str(a) for a in limit.amounts()] == ["1 mg", "2 mg", "3 mg", "4 mg", "-7 mg"]


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("5", "unit-missing"),
        (5, "unit-missing"),
        ("1,5 mg", "decimal-comma"),
        ("5 hPa", "unit-not-taken"),
        ("5 % of sample", "unit-not-taken"),
        ("5e2 d", "number-malformed"),
    ],
)
def test_what_is_no_amount_is_refused(text, code):
    with pytest.raises(QuantityError) as caught:
        read_amount(text)
    assert caught.value.code == code


def test_e_is_a_unit_and_no_exponent():
    assert read_amount("5 e") == read_amount("5e") == Amount(Decimal(5), "e")
    assert "|e|" in amount_pattern()


@pytest.mark.parametrize(
    ("text", "unit", "size", "place"),
    [
        ("1.5 K", "K", Fraction(3, 2), "0.1"),
        ("90 s", "s", Fraction(90), "1"),
        ("1.5 min", "s", Fraction(90), "6"),
        ("2 h", "s", Fraction(7200), "3600"),
    ],
)
def test_a_limit_of_a_temperature_or_a_time_needs_no_balance(text, unit, size, place):
    assert sides(within(text), load=None, unit=unit, instrument=BARE) == (-size, size)
    assert within(text).at(basis(None, unit)).lower_place == Decimal(place)


@pytest.mark.parametrize(
    ("text", "dimension", "unit", "base"),
    [
        ("2 mg", "mass", "g", "0.002"),
        ("0.05 %", "share", "%", "0.05"),
        ("1 K", "temperature_difference", "K", "1"),
        ("3 min", "time", "s", "180"),
        ("2 d", "relative", None, None),
    ],
)
def test_an_amount_knows_what_it_limits(text, dimension, unit, base):
    amount = read_amount(text)
    assert (amount.dimension, amount.base_unit) == (dimension, unit)
    assert base is None or amount.base == Decimal(base)
