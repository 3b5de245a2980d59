"""Smallest net masses by USP <41> and by EURAMET cg-18.

USP <41>, text of 2019 (read in quotations and summaries): 2·s/m <= 0.10 %, example of the chapter
s = 0.00015 g, 0.30000 g; a standard deviation below 0.41 d counts as 0.41 d, so 820 d at least.
cg-18 v4.0, Appendix G (from memory): no figures of the guide were at hand; α, β and the masses are
those of a synthetic budget, and each mass is found here again by halving.
"""

from decimal import Decimal
from math import sqrt

import pytest
from scipy.optimize import brentq

from weighworthy_service.metrology.minimum_mass import cg_18, cg_18_linear, usp_41

ALPHA, BETA, SLOPE, CAPACITY = 0.06455e-3, 3.2568e-6, 1e-6, 220.0


@pytest.mark.parametrize(
    ("s", "d", "mass"),
    [
        ("0.00015", "0.0001", "0.30000"),
        ("0.00003", "0.0001", "0.082"),
        ("0", "0.0001", "0.0820"),
        ("0.0002", "0.001", "0.82"),
        ("0.001", "0.001", "2"),
        ("0.00041", "0.001", "0.82"),
    ],
)
def test_usp_41(s, d, mass) -> None:
    assert usp_41(Decimal(s), Decimal(d)) == Decimal(mass)


@pytest.mark.parametrize(
    ("required", "exact", "linear"),
    [(0.1e-2, 0.12923, 0.13000), (0.05e-2, 0.25874, 0.26184), (0.01e-2, 1.3069, 1.3875)],
)
def test_cg_18(required, exact, linear) -> None:
    found = cg_18(ALPHA, BETA, required, error=SLOPE)
    assert found == pytest.approx(exact, rel=5e-5)

    def relative(mass: float) -> float:
        return (2 * sqrt(ALPHA**2 + (BETA * mass) ** 2) + SLOPE * mass) / mass

    assert found == pytest.approx(brentq(lambda m: relative(m) - required, 1e-3, 1e3))
    assert cg_18_linear(ALPHA, BETA, required, CAPACITY, error=SLOPE) == pytest.approx(
        linear, rel=5e-5
    )


def test_an_accuracy_that_no_mass_has() -> None:
    """2β alone is 6.5e-6."""
    assert cg_18(ALPHA, BETA, 6.5e-6) is None
    # And with α, the line rises by (2·√(α² + (β·220)²) - 2α)/220 = 5.95e-6 a gram.
    assert cg_18_linear(ALPHA, BETA, 5.9e-6, CAPACITY) is None
    assert cg_18_linear(ALPHA, BETA, 6.0e-6, CAPACITY) is not None


def test_in_a_plan(ask_sample) -> None:
    """By hand: 2000 · 0.6 mg = 1.2 g; α = √(2 d²/12 + s²) = 0.72572 mg, 2α/(0.1 %/2) = 2.9029 g."""
    answer = ask_sample(safety_factor="2")
    usp, cg = answer["other_minima"]
    assert (usp["name"], usp["smallest_mass"]) == ("usp-41", 1.2)
    assert cg["name"] == "euramet-cg-18"
    assert cg["smallest_mass"] == pytest.approx(2 * sqrt(1 / 6 + 0.36) / 1000 / 0.0005)


@pytest.fixture
def ask_sample():
    from weighworthy_service.web.app import create_app

    client = create_app().test_client()
    balance = {"scale_interval": "1 mg", "repeatability": "0.6 mg"}

    def post(**stated):
        body = {"instrument": balance, "loss": "10 %", "target_uncertainty": "0.1 %", **stated}
        answer = client.post("/v1/plans/sample", json=body)
        assert answer.status_code == 200, answer.text
        return answer.json

    return post
