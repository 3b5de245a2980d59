from decimal import Decimal, localcontext
from math import exp, gamma, log, sqrt

import pytest
from scipy.stats import chi2

from weighworthy_service.metrology.budget import chi_square_quantile
from weighworthy_service.metrology.scatter import c4, interval_factors, relative_uncertainty


@pytest.mark.parametrize("degrees", [1, 2, 3, 9, 49, 99, 7.5])
@pytest.mark.parametrize("probability", [1e-6, 0.025, 0.05, 0.5, 0.95, 0.975, 0.999])
def test_chi_square_quantile_against_scipy_stats(degrees, probability):
    expected = chi2.ppf(probability, degrees)
    assert chi_square_quantile(probability, degrees) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("probability", [0.025, 0.5, 0.975])
def test_with_two_degrees_of_freedom_it_is_an_exponential(probability):
    # P(χ² <= x) = 1 - e^(-x/2).
    x = chi_square_quantile(probability, 2)
    assert 1 - exp(-x / 2) == pytest.approx(probability, rel=1e-14)
    assert x == pytest.approx(-2 * log(1 - probability), rel=1e-14)


@pytest.mark.parametrize(
    ("degrees", "low", "high"),
    # Printed tables of chi-square, columns 0.025 and 0.975 (from memory).
    [(1, 0.001, 5.024), (4, 0.484, 11.143), (9, 2.700, 19.023), (19, 8.907, 32.852)],
)
def test_printed_tables_of_chi_square(degrees, low, high):
    assert chi_square_quantile(0.025, degrees) == pytest.approx(low, abs=0.0005)
    assert chi_square_quantile(0.975, degrees) == pytest.approx(high, abs=0.0005)


def test_the_interval_of_ten_results():
    # √(9/19.023) = 0.688 and √(9/2.700) = 1.826.
    lower, upper = interval_factors(9)
    assert lower == pytest.approx(0.688, abs=0.0005)
    assert upper == pytest.approx(1.826, abs=0.0005)


@pytest.mark.parametrize(
    ("n", "printed"),
    # Constants of control charts: c4.
    [(2, "0.797885"), (3, "0.886227"), (4, "0.921318"), (5, "0.939986"), (10, "0.972659")],
)
def test_c4_as_printed(n, printed):
    assert c4(n) == pytest.approx(Decimal(printed), abs=Decimal("0.0000005"))


@pytest.mark.parametrize("n", [2, 3, 6, 17, 100])
def test_c4_is_a_quotient_of_gamma_functions(n):
    expected = sqrt(2 / (n - 1)) * gamma(n / 2) / gamma((n - 1) / 2)
    assert float(c4(n)) == pytest.approx(expected, rel=1e-13)


def test_c4_has_all_its_digits():
    # c4(3)² = π/4; π to 33 digits, OEIS A000796 (from memory).
    with localcontext(prec=50):
        assert abs(4 * c4(3) ** 2 - Decimal("3.14159265358979323846264338327950")) < Decimal(
            "1e-31"
        )
        assert abs(c4(2) ** 2 * c4(3) ** 2 - Decimal("0.5")) < Decimal("1e-33")


@pytest.mark.parametrize(
    ("n", "percent"),
    # JCGM 100:2008, Table E.1 (from memory), in whole percent.
    [(2, 76), (3, 52), (4, 42), (5, 36), (10, 24), (20, 16), (30, 13), (50, 10)],
)
def test_jcgm_100_table_e_1(n, percent):
    assert 100 * relative_uncertainty(n) == pytest.approx(percent, abs=0.5)
