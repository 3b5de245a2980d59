from decimal import Decimal, localcontext

import pytest

from weighworthy_service.checks.flaws import SenseError
from weighworthy_service.metrology.instrument import HotZeroCorrection


@pytest.fixture
def weights(make):
    return [make.weight("S", "20"), make.weight("R", "5")]


@pytest.fixture
def flaws(make, weights):
    def of(initial, final, **more):
        try:
            make.loss(initial, final, weights, **more)
        except SenseError as error:
            return [("/".join(map(str, f.path)), f.code) for f in error.flaws]
        return []

    return of


def test_both_indications_or_the_displayed_loss_are_needed(flaws, make):
    bare = make.loading("S R"), make.loading("S")
    stepped = make.balance(loss_interval="0.01")
    assert flaws(make.loading("S R", "25"), make.loading("S", "20")) == []
    assert flaws(*bare, displayed_loss="20", instrument=stepped) == []
    assert flaws(*bare, instrument=stepped) == [
        ("initial/indication", "required"),
        ("final/indication", "required"),
    ]
    assert flaws(make.loading("S R", "25"), bare[1], instrument=stepped) == [
        ("final/indication", "required")
    ]


def test_a_displayed_loss_alone_needs_its_step(flaws, make):
    found = flaws(make.loading("S R"), make.loading("S"), displayed_loss="20")
    assert found == [("instrument/loss_interval", "required")]
    assert flaws(make.loading("S R", "25"), make.loading("S", "20"), displayed_loss="20") == []


@pytest.mark.parametrize("indication", ["0", "-0.001"])
def test_the_initial_load_is_above_zero(flaws, make, indication):
    found = flaws(make.loading("S R", indication), make.loading("S", "20"))
    assert found == [("initial/indication", "out-of-range")]


@pytest.mark.parametrize(
    ("basis", "final", "found"),
    [
        ("wet", "0", []),
        ("wet", "-0.002", []),
        ("dry", "0.001", []),
        ("dry", "0", [("final/indication", "out-of-range")]),
        ("dry", "-0.002", [("final/indication", "out-of-range")]),
    ],
)
def test_on_dry_basis_something_is_left(flaws, make, basis, final, found):
    assert flaws(make.loading("S R", "25"), make.loading("S", final), basis=basis) == found


def test_what_is_left_is_above_the_known_shift_of_the_zero(make, weights, flaws):
    shift = make.balance(hot_zero_correction=HotZeroCorrection(Decimal("0.003"), Decimal(0)))
    load = make.loading("S R", "25"), make.loading("S", "0.003")
    assert flaws(*load, basis="dry", instrument=shift) == [("final/indication", "out-of-range")]
    assert flaws(*load, basis="dry", instrument=shift, heating=False) == []


def test_weights_must_be_declared_once_on_the_pan(flaws, make):
    assert flaws(make.loading("S S", "40"), make.loading("X", "20")) == [
        ("initial/load", "weight-twice"),
        ("final/load/0", "weight-not-declared"),
    ]


@pytest.mark.parametrize(
    ("heating", "chamber", "took_heat"),
    [
        (True, (None, None), True),
        (True, ("21", "22"), True),
        (False, (None, None), False),
        (None, (None, None), None),
        (None, ("21", None), None),
        (None, (None, "105"), None),
        (None, ("21", "31"), None),  # 10 K exactly is not more than 10 K; nor is it said cold
        (None, ("105", "105"), None),
        (False, ("21", "31"), False),
        (None, ("21", "31.000000001"), True),
        (False, ("21", "105"), True),
        (False, ("21", "25"), False),
    ],
)
def test_whether_heating_took_place(make, weights, heating, chamber, took_heat):
    before, after = chamber
    check = make.loss(
        make.loading("S R", "25", before), make.loading("S", "20", after), weights, heating=heating
    )
    assert check.took_heat is took_heat


def test_the_rise_is_exact_in_any_decimal_context(make, weights):
    # 31.4564 - 21.4561 = 10.0003; with four digits 21.4561 + 10 would be 31.46.
    check = make.loss(
        make.loading("S R", "25", "21.4561"), make.loading("S", "20", "31.4564"), weights
    )
    with localcontext() as context:
        context.prec = 4
        assert check.took_heat is True
