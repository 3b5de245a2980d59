"""OIML R 111-1:2004 (E): class limits and what follows from them.

Table 1: typed by hand and compared with a public transcription of the full table. The clauses 5.2,
5.3.1, 10.1 and Table 5 are from memory; the density figures were computed from rule 10.1 with the
limits of Table 1.
"""

from decimal import Decimal
from fractions import Fraction
from math import sqrt

import pytest

from weighworthy_service.checks.contributions import Reading, buoyancy_rows, error_effects
from weighworthy_service.checks.span.check import Round, SpanCheck
from weighworthy_service.checks.span.evaluation import evaluate
from weighworthy_service.metrology.buoyancy import unclassed_half_width
from weighworthy_service.metrology.weights import class_limits

CLASSES = ("E1", "E2", "F1", "F2", "M1", "M2", "M3")

# Nominal value in g: limits in mg, in the order of CLASSES; a dash is a cell without a limit.
TABLE_1 = {
    "1000": "0.5 1.6 5.0 16 50 160 500",
    "500": "0.25 0.8 2.5 8.0 25 80 250",
    "200": "0.10 0.3 1.0 3.0 10 30 100",
    "100": "0.05 0.16 0.5 1.6 5.0 16 50",
    "50": "0.03 0.10 0.3 1.0 3.0 10 30",
    "20": "0.025 0.08 0.25 0.8 2.5 8.0 25",
    "10": "0.020 0.06 0.20 0.6 2.0 6.0 20",
    "5": "0.016 0.05 0.16 0.5 1.6 5.0 16",
    "2": "0.012 0.04 0.12 0.4 1.2 4.0 12",
    "1": "0.010 0.03 0.10 0.3 1.0 3.0 10",
    "0.5": "0.008 0.025 0.08 0.25 0.8 2.5 -",
    "0.2": "0.006 0.020 0.06 0.20 0.6 2.0 -",
    "0.1": "0.005 0.016 0.05 0.16 0.5 1.6 -",
    "0.05": "0.004 0.012 0.04 0.12 0.4 - -",
    "0.02": "0.003 0.010 0.03 0.10 0.3 - -",
    "0.01": "0.003 0.008 0.025 0.08 0.25 - -",
    "0.005": "0.003 0.006 0.020 0.06 0.20 - -",
    "0.002": "0.003 0.006 0.020 0.06 0.20 - -",
    "0.001": "0.003 0.006 0.020 0.06 0.20 - -",
}
CELLS = [
    (nominal, weight_class, mpe)
    for nominal, row in TABLE_1.items()
    for weight_class, mpe in zip(CLASSES, row.split(), strict=True)
]


@pytest.mark.parametrize(("nominal", "weight_class", "mpe"), CELLS)
def test_table_1(make, nominal: str, weight_class: str, mpe: str) -> None:
    """Table 1, every cell; an empty cell refuses the weight instead of guessing."""
    w = make.weight("W", nominal, f"OIML {weight_class}")
    if mpe == "-":
        assert w.class_limit is None
        assert [code for _, code, _ in w.flaws()] == ["no-class-limit"]
    else:
        assert w.class_limit == Decimal(mpe) / 1000
        assert list(w.flaws()) == []
        assert w.standard_uncertainty == pytest.approx(float(mpe) / 1000 / sqrt(3), rel=1e-14)


def test_table_1_has_no_further_cells() -> None:
    ours = [key for key in class_limits() if key[0].startswith("OIML ")]
    assert len(ours) == sum(mpe != "-" for _, _, mpe in CELLS) == 7 * 10 + 6 * 3 + 5 * 6


@pytest.mark.parametrize("nominal", ["300", "30", "3", "0.3", "0.03", "0.003", "25"])
def test_only_1_2_5_denominations(make, nominal: str) -> None:
    """R 111 has 1, 2 and 5 only; 3 g lies between two rows and is not interpolated."""
    w = make.weight("W", nominal, "OIML F1")
    assert w.class_limit is None
    assert [(field, code) for field, code, _ in w.flaws()] == [("nominal", "no-class-limit")]


def _codes(make, weights) -> set[str]:
    check = SpanCheck(
        make.circumstances(make.instrument(), weights),
        (Round("as-found", (weights[0].name,), Decimal(0), weights[0].nominal),),
    )
    return {finding.code for finding in evaluate(check, make.terms()).findings}


@pytest.mark.parametrize(
    ("conventional", "expanded", "outside", "coarse"),
    [
        # 50 g F1: mpe 0.3 mg; with U = 0.1 mg the mass must lie within 0.2 mg of nominal (5.3.1).
        ("50.0002", "0.0001", False, False),
        ("50.00020001", "0.0001", True, False),
        ("49.9998", "0.0001", False, False),
        ("49.99979999", "0.0001", True, False),
        # U must not exceed a third of the mpe (5.2): 0.1 mg does not, 0.1001 mg does.
        ("50", "0.0001", False, False),
        ("50", "0.0001001", False, True),
    ],
)
def test_weights_within_their_class(make, conventional, expanded, outside, coarse) -> None:
    """Clauses 5.2 and 5.3.1 (from memory)."""
    w = make.weight(
        "W", "50", "OIML F1", conventional_mass=conventional, expanded_uncertainty=expanded
    )
    codes = _codes(make, [w])
    assert ("weight-outside-class" in codes) is outside
    assert ("certificate-too-coarse" in codes) is coarse


def test_class_comparison_brings_the_uncertainty_to_two_sigma(make) -> None:
    """5.2 speaks of k = 2: U = 0.15 mg with k = 3 is 0.1 mg, a third of 0.3 mg."""
    values = {"conventional_mass": "50", "coverage_factor": "3"}
    fits = make.weight("W", "50", "OIML F1", expanded_uncertainty="0.00015", **values)
    coarse = make.weight("W", "50", "OIML F1", expanded_uncertainty="0.000151", **values)
    assert "certificate-too-coarse" not in _codes(make, [fits])
    assert "certificate-too-coarse" in _codes(make, [coarse])


# Rule 10.1 (from memory) solved for the density with the limits of Table 1: 10 % more or less air
# may cost a quarter of the mpe. Nominal in g, mpe in mg, densities in kg/m³ to 0.1.
DENSITIES = [
    ("100", "E1", 0.05, 7933.9, 8067.2),
    ("50", "E1", 0.03, 7920.8, 8080.8),
    ("20", "E1", 0.025, 7836.7, 8170.2),
    ("10", "E1", 0.020, 7741.9, 8275.9),
    ("5", "E1", 0.016, 7594.9, 8450.7),
    ("200", "E2", 0.3, 7804.9, 8205.1),
    ("100", "F1", 0.5, 7384.6, 8727.3),
    ("20", "F2", 0.8, 4800.0, 24000.0),
]


@pytest.mark.parametrize(("nominal", "weight_class", "mpe", "low", "high"), DENSITIES)
def test_density_rule_gives_a_quarter_of_the_limit(
    *, make, nominal, weight_class, mpe, low, high
) -> None:
    """10.1: at the densities where the rule holds just so, our bound is mpe/4.

    Tolerance: 0.05 kg/m³, half the last digit of the densities, which is 0.12·m·0.05/ρ² in mass.
    """
    quarter = mpe / 4 / 1000
    for density in (low, high):
        slack = 0.12 * float(nominal) * 0.05 / density**2
        ours = float(nominal) * unclassed_half_width(density, 0.1)
        assert ours == pytest.approx(quarter, abs=slack * 1.01)
    # The class itself bounds the density: the same bound without knowing it.
    w = make.weight("W", nominal, f"OIML {weight_class}")
    around = make.circumstances(make.instrument(), [w])
    effects = error_effects(Reading("r", w.nominal, 1), "z", ("W",))
    (row,) = buoyancy_rows(effects, around, adjusted=True)
    assert row.contribution == pytest.approx(quarter / sqrt(3), rel=1e-12)


# Table 5 (from memory): nominal in g, class, smallest and largest density permitted, kg/m³.
TABLE_5 = [
    ("100", "E1", 7934, 8067),
    ("100", "E2", 7810, 8210),
    ("100", "F1", 7390, 8730),
    ("100", "F2", 6400, 10700),
    ("50", "E1", 7920, 8080),
    ("50", "E2", 7740, 8280),
    ("50", "F1", 7270, 8890),
    ("50", "F2", 6000, 12000),
    ("20", "E1", 7840, 8170),
    ("20", "E2", 7500, 8570),
    ("20", "F1", 6600, 10100),
    ("20", "F2", 4800, 24000),
    ("10", "E1", 7740, 8280),
    ("10", "E2", 7270, 8890),
    ("10", "F1", 6000, 12000),
]


@pytest.mark.parametrize(("nominal", "weight_class", "low", "high"), TABLE_5)
def test_table_5_densities_stay_within_a_quarter(
    make, nominal: str, weight_class: str, low: int, high: int
) -> None:
    """Table 5 (from memory) was rounded; no printed end costs more than 2 % above the quarter."""
    w = make.weight("W", nominal, f"OIML {weight_class}")
    quarter = float(Fraction(w.class_limit) / 4)
    for density in (low, high):
        assert float(nominal) * unclassed_half_width(density, 0.1) <= 1.02 * quarter


def test_air_fluctuation_without_adjustment(make) -> None:
    """Not adjusted in this sitting: 0.1·1.2/8000 = 1.5e-5 of the nominal value comes on top.

    F1 100 g: (0.5 mg/4 + 1.5 mg)/√3 = 0.938194 mg.
    """
    around = make.circumstances(make.instrument(), [make.weight("W", "100", "OIML F1")])
    effects = error_effects(Reading("r", Decimal(100), 1), "z", ("W",))
    (row,) = buoyancy_rows(effects, around, adjusted=False)
    assert row.contribution == pytest.approx(0.938194e-3, abs=0.5e-9)
