from decimal import Decimal
from fractions import Fraction
from math import inf, sqrt

import pytest

from weighworthy_service.checks.contributions import (
    Effects,
    Reading,
    budget_rows,
    buoyancy_rows,
    combined,
    error_effects,
    weights_allowance,
)
from weighworthy_service.metrology.buoyancy import Environment
from weighworthy_service.metrology.instrument import Eccentricity

ONE = Fraction(1)


def rows_of(rows):
    return {row.source: row for row in rows}


def one_error(load="A", key="1", zero="z", nominal="20"):
    names = load.split()
    return error_effects(Reading(key, Decimal(nominal), len(names)), zero, names)


@pytest.fixture
def here(make):
    return make.circumstances([make.certified(n, "20", "20", "0.0002") for n in "ABC"])


def test_load_and_zero_are_digitised_alike(here):
    rows = rows_of(budget_rows(one_error(), here, "by-sign", "g"))
    for source, c in (("loaded", 1.0), ("zero", -1.0)):
        row = rows[f"digitisation of {source} readings"]
        assert row.standard_uncertainty == pytest.approx(0.001 / sqrt(12), rel=1e-12)
        assert (row.sensitivity, row.unit, row.distribution) == (c, "g", "rectangular")


def test_two_readings_weigh_the_root_of_two(here):
    difference = combined([(ONE, one_error(key="1", zero="y")), (-ONE, one_error(key="2"))])
    rows = rows_of(budget_rows(difference, here, "by-sign", "g"))
    assert rows["digitisation of loaded readings"].sensitivity == pytest.approx(sqrt(2))
    assert rows["digitisation of zero readings"].sensitivity == pytest.approx(sqrt(2))


def test_a_zero_read_once_is_one_input_and_cancels_in_a_difference(here):
    difference = combined([(ONE, one_error(key="1")), (-ONE, one_error(key="2"))])
    assert "digitisation of zero readings" not in rows_of(
        budget_rows(difference, here, "by-sign", "g")
    )
    total = combined([(ONE, one_error(key="1")), (ONE, one_error(key="2"))])
    rows = rows_of(budget_rows(total, here, "by-sign", "g"))
    assert rows["digitisation of zero readings"].sensitivity == -2


def test_repeatability_belongs_to_loaded_readings_and_enters_once(make):
    here = make.circumstances(
        [make.weight("A", "20")],
        make.balance(repeatability="0.0008", repeatability_observations=10),
    )
    difference = combined([(ONE, one_error(key="1", zero="y")), (-ONE, one_error(key="2"))])
    row = rows_of(budget_rows(difference, here, "by-sign", "g"))["repeatability"]
    assert row.standard_uncertainty == 0.0008
    assert row.sensitivity == pytest.approx(sqrt(2))  # two loaded readings, no zeros
    assert row.degrees_of_freedom == 9
    assert row.distribution == "normal"


def test_repeatability_without_its_number_of_observations_is_known(make):
    here = make.circumstances([make.weight("A", "20")], make.balance(repeatability="0.0008"))
    rows = rows_of(budget_rows(one_error(), here, "by-sign", "g"))
    assert rows["repeatability"].degrees_of_freedom == inf


@pytest.mark.parametrize("stated", [{}, {"repeatability": "0"}])
def test_no_repeatability_is_guessed(make, stated):
    here = make.circumstances([make.weight("A", "20")], make.balance(**stated))
    assert "repeatability" not in rows_of(budget_rows(one_error(), here, "by-sign", "g"))


def test_a_weight_used_twice_cancels(here):
    difference = combined([(ONE, one_error("A B", "1")), (-ONE, one_error("A", "2"))])
    (row,) = (
        r for r in budget_rows(difference, here, "by-sign", "g") if r.source.startswith("reference")
    )
    # A cancels; B is left with c = -1 and u = 0.0002/2.
    assert row.source == "reference weights B"
    assert (row.standard_uncertainty, row.sensitivity) == (pytest.approx(0.0001), -1)


GROUPS = {"A": Fraction(-1), "B": Fraction(-1), "C": Fraction(2)}


@pytest.mark.parametrize(
    ("correlation", "expected"),
    [
        # u = 0.1 mg each. By sign: A and B fully correlated, |c|·u add: 0.2 mg; C alone 0.2 mg.
        ("by-sign", {"C": 0.0002, "A, B": 0.0002}),
        ("independent", {"A": 0.0001, "B": 0.0001, "C": 0.0002}),
        ("worst", {"A, B, C": 0.0004}),
    ],
)
def test_weights_group_by_the_sign_of_their_sensitivity(here, correlation, expected):
    effects = Effects(weights=GROUPS)
    rows = budget_rows(effects, here, correlation, "g")
    found = {row.source.removeprefix("reference weights "): row.contribution for row in rows}
    assert found == {names: pytest.approx(u, rel=1e-12) for names, u in expected.items()}


def test_a_group_of_equal_sensitivity_shows_it(here):
    (row,) = budget_rows(
        Effects(weights={"A": Fraction(-3), "B": Fraction(-3)}), here, "by-sign", "%"
    )
    assert (row.standard_uncertainty, row.unit) == (pytest.approx(0.0002), "g")
    assert row.sensitivity == -3


def test_a_group_of_unequal_sensitivities_is_in_the_unit_of_the_result(here):
    # 3 · 0.1 mg + 5 · 0.1 mg = 0.0008 % with sensitivities in % per g.
    (row,) = budget_rows(
        Effects(weights={"A": Fraction(-3), "B": Fraction(-5)}), here, "by-sign", "%"
    )
    assert (row.standard_uncertainty, row.unit) == (pytest.approx(0.0008), "%")
    assert row.sensitivity == 1


def test_a_group_names_its_distribution(make):
    here = make.circumstances([make.certified("A", "20", "20", "0.0002"), make.weight("B", "20")])

    def of(*names):
        weights = dict.fromkeys(names, Fraction(-1))
        (row,) = budget_rows(Effects(weights=weights), here, "by-sign", "g")
        return row.distribution

    assert (of("A"), of("B"), of("A", "B")) == ("normal", "rectangular", "mixed")


@pytest.fixture
def off_centre(make):
    return make.circumstances(
        [make.weight("A", "20"), make.weight("B", "10")],
        make.balance(eccentricity=Eccentricity(Decimal("0.002"), Decimal(50))),
    )


def test_a_built_up_load_lies_off_the_centre(off_centre):
    # |ΔI|/(2·load·√3) = 0.002/(100·√3), times the 30 g on the pan
    rows = rows_of(budget_rows(one_error("A B", nominal="30"), off_centre, "by-sign", "g"))
    row = rows["built-up loads"]
    assert row.standard_uncertainty == pytest.approx(0.002 / (100 * sqrt(3)), rel=1e-12)
    assert row.sensitivity == pytest.approx(30)
    assert row.contribution == pytest.approx(0.0006 / sqrt(3), rel=1e-12)


def test_two_built_up_readings_are_independent(off_centre):
    first = one_error("A B", "1", nominal="30")
    second = one_error("A B", "2", nominal="30")
    rows = rows_of(
        budget_rows(combined([(ONE, first), (-ONE, second)]), off_centre, "by-sign", "g")
    )
    assert rows["built-up loads"].sensitivity == pytest.approx(30 * sqrt(2))


def test_a_single_weight_lies_in_the_centre(off_centre):
    assert "built-up loads" not in rows_of(budget_rows(one_error("A"), off_centre, "by-sign", "g"))


BUOYANT = 20 * 0.1 * 1.2 / 8000  # g, half-width of what unmeasured air may do to 20 g


@pytest.mark.parametrize(
    ("weight_class", "density", "own"),
    [
        ("OIML F1", None, 0.00025 / 4),  # mpe/4
        ("OIML F1", "7950", 0.00025 / 4),  # the class bounds the density already
        (None, "8400", 20 * 0.1 * 1.2 * (1 / 8000 - 1 / 8400)),
        (None, None, 20 * 0.1 * 1.2 * (1 / 7950 - 1 / 8000)),
    ],
)
@pytest.mark.parametrize("adjusted", [False, True])
def test_buoyancy_of_one_weight(make, weight_class, density, own, adjusted):
    w = make.certified("A", "20", "20", "0.0001", weight_class=weight_class, density=density)
    here = make.circumstances([w])
    (row,) = buoyancy_rows(one_error(), here, adjusted=adjusted)
    half_width = own + (0 if adjusted else BUOYANT)
    assert row.contribution == pytest.approx(half_width / sqrt(3), rel=1e-9)
    assert row.distribution == "rectangular"


def test_buoyancy_of_several_weights_adds_as_their_masses_do(make):
    here = make.circumstances([make.weight("A", "20"), make.weight("B", "10")])
    # Σmpe/4 = (0.25 + 0.20)/4 mg; Σm_N = 30 g
    (row,) = buoyancy_rows(one_error("A B", nominal="30"), here, adjusted=False)
    expected = (0.00045 / 4 + 30 * 0.12 / 8000) / sqrt(3)
    assert row.contribution == pytest.approx(expected, rel=1e-12)


def test_measured_air_narrows_buoyancy(make):
    # At 20 °C, 1013.25 hPa, 50 %: 1.1993 kg/m³ (CIPM-2007), |1.1993 - 1.2|/1.2 = 0.00058.
    air = Environment(Decimal(20), Decimal(50), Decimal("1013.25"))
    here = make.circumstances([make.weight("A", "20")], environment=air)
    (row,) = buoyancy_rows(one_error(), here, adjusted=False)
    # The share of the class, mpe/4, covers 10 % of air density and stays.
    expected = (0.00025 / 4 + 20 * 0.00058 * 1.2 / 8000) / sqrt(3)
    assert row.contribution == pytest.approx(expected, rel=1e-3)


def test_buoyancy_of_a_weight_that_cancels_cancels(here):
    difference = combined([(ONE, one_error(key="1")), (-ONE, one_error(key="2"))])
    assert buoyancy_rows(difference, here, adjusted=False) == []


def test_buoyancy_always_groups_by_sign(here):
    rows = buoyancy_rows(Effects(weights=GROUPS), here, adjusted=True)
    assert [row.source for row in rows] == ["buoyancy of C", "buoyancy of A, B"]


def test_what_the_weights_may_bring_in(make):
    here = make.circumstances([make.certified("A", "20", "20", "0.0002"), make.weight("B", "20")])
    effects = Effects(weights={"A": Fraction(-2), "B": Fraction(3)})
    # 2 · 0.2 mg + 3 · 0.25 mg = 1.15 mg
    assert weights_allowance(effects, here) == Fraction(115, 100_000)
