from decimal import Decimal
from fractions import Fraction

import pytest
from scipy.stats import linregress

from weighworthy_service.metrology.spread import mean, root, slope, standard_deviation, variance


def test_mean_and_variance_are_exact():
    # (1 + 2 + 2)/3 = 5/3; off by -2/3, 1/3, 1/3: squares 4/9 + 1/9 + 1/9 = 6/9, over n - 1 = 2.
    values = [Decimal(1), Decimal(2), Fraction(2)]
    assert mean(values) == Fraction(5, 3)
    assert variance(values) == Fraction(1, 3)


def test_a_root_that_ends_is_exact():
    # 0.3 and 0.7 mg, 0.4 mg apart: s = 0.4/√2 has no end; of 0, 0.4, 0.8: s = 0.4 exactly.
    assert standard_deviation([Decimal(v) for v in ("0", "0.0004", "0.0008")]) == Decimal("0.0004")


def test_a_root_without_end_has_34_digits():
    # √2 to 41 digits, OEIS A002193 (from memory): 1.4142135623730950488016887242096980785697.
    assert root(Fraction(2)) == Decimal("1.414213562373095048801688724209698")
    assert root(Fraction(0)) == 0


def test_slope_by_hand():
    # x 0, 1, 2 and y 0, 0, 3: means 1 and 1; Σxy = (-1)(-1) + 0 + 1·2 = 3 over Σx² = 2: 3/2.
    # Left over: -1 + 1.5, -1, 2 - 1.5 = 0.5, -1, 0.5: squares 1.5 over n - 2 = 1.
    assert slope([Decimal(0), Decimal(1), Decimal(2)], [Decimal(0), Decimal(0), Decimal(3)]) == (
        Fraction(3, 2),
        Fraction(3, 2),
        Fraction(2),
    )


def test_two_points_leave_nothing_over():
    found = slope([Decimal(10), Decimal(30)], [Decimal("0.001"), Decimal("-0.003")])
    assert found == (Fraction(-1, 5000), None, Fraction(200))


def test_jcgm_100_h3_slope_against_scipy():
    # JCGM 100:2008, H.3, Table H.6: published slope 0.00218, its deviation 0.00067, s = 0.0035.
    t = (21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511)
    b = (171, 169, 166, 159, 164, 165, 156, 157, 159, 161, 160)
    ys = [Decimal(-value) / 1000 for value in b]
    found = slope([Decimal(str(x)) for x in t], ys)
    reference = linregress(t, [float(y) for y in ys])
    assert float(found.value) == pytest.approx(reference.slope, rel=1e-12)
    deviation = float(root(found.residual / found.extent))
    assert deviation == pytest.approx(reference.stderr, rel=1e-12)
    assert float(found.value) == pytest.approx(0.00218, abs=0.000005)
    assert deviation == pytest.approx(0.00067, abs=0.000005)
    assert float(root(found.residual)) == pytest.approx(0.0035, abs=0.00005)
