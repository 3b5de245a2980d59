"""ASTM E617, maximum permissible errors, metric, in mg: every cell FROM MEMORY.

The standard was not at hand. Two internal checks hold: class 0 is half of class 1 and class 4 is
twice class 3, to the rounding of the table. Classes 000, 00, 5, 6, 7 are not known and not offered.
"""

from decimal import Decimal

import pytest

from weighworthy_service.metrology.weights import class_limits, weight_classes

CLASSES = ("0", "1", "2", "3", "4")

TABLE = {
    "1000": "1.3 2.5 5.0 10 20",
    "500": "0.60 1.2 2.5 5.0 10",
    "300": "0.38 0.75 1.5 3.0 6.0",
    "200": "0.25 0.50 1.0 2.0 4.0",
    "100": "0.13 0.25 0.50 1.0 2.0",
    "50": "0.060 0.12 0.25 0.60 1.2",
    "30": "0.037 0.074 0.15 0.45 0.90",
    "20": "0.037 0.074 0.10 0.35 0.70",
    "10": "0.025 0.050 0.074 0.25 0.50",
    "5": "0.017 0.034 0.054 0.18 0.36",
    "3": "0.017 0.034 0.054 0.15 0.30",
    "2": "0.017 0.034 0.054 0.13 0.26",
    "1": "0.017 0.034 0.054 0.10 0.20",
    "0.5": "0.005 0.010 0.025 0.080 0.16",
    "0.3": "0.005 0.010 0.025 0.070 0.14",
    "0.2": "0.005 0.010 0.025 0.060 0.12",
    "0.1": "0.005 0.010 0.025 0.050 0.10",
    "0.05": "0.005 0.010 0.014 0.042 0.085",
    "0.03": "0.005 0.010 0.014 0.038 0.075",
    "0.02": "0.005 0.010 0.014 0.035 0.070",
    "0.01": "0.005 0.010 0.014 0.030 0.060",
    "0.005": "0.005 0.010 0.014 0.028 0.055",
    "0.003": "0.005 0.010 0.014 0.026 0.052",
    "0.002": "0.005 0.010 0.014 0.025 0.050",
    "0.001": "0.005 0.010 0.014 0.025 0.050",
}
CELLS = [
    (nominal, weight_class, mpe)
    for nominal, row in TABLE.items()
    for weight_class, mpe in zip(CLASSES, row.split(), strict=True)
]


@pytest.mark.parametrize(("nominal", "weight_class", "mpe"), CELLS)
def test_table(make, nominal: str, weight_class: str, mpe: str) -> None:
    """From memory."""
    w = make.weight("W", nominal, f"ASTM {weight_class}")
    assert w.class_limit == Decimal(mpe) / 1000
    assert list(w.flaws()) == []


def test_no_further_cells_or_classes() -> None:
    ours = [key for key in class_limits() if key[0].startswith("ASTM ")]
    assert len(ours) == len(CELLS) == 125
    assert [c for c in weight_classes() if c.startswith("ASTM ")] == [f"ASTM {c}" for c in CLASSES]


@pytest.mark.parametrize(("nominal", "row"), TABLE.items())
def test_halves_and_doubles(nominal: str, row: str) -> None:
    """The internal check of the figures from memory: 0 against 1, 4 against 3."""
    table = class_limits()
    of = {c: table[f"ASTM {c}", Decimal(nominal)] for c in CLASSES}
    assert of["0"] == pytest.approx(of["1"] / 2, rel=Decimal("0.05"))
    assert of["4"] == pytest.approx(of["3"] * 2, rel=Decimal("0.05"))
