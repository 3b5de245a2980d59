"""Propagation of uncertainty through a loss on drying (JCGM 100:2008, 5.1.2 and 5.2.2).

L = (m_i - m_f)/m_i on wet basis, D = (m_i - m_f)/m_f on dry basis. The figures were computed from
the law of propagation and confirmed with a general-purpose GUM library; none is printed in a norm.
"""

from decimal import Decimal
from fractions import Fraction
from math import sqrt
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from weighworthy_service.checks.simulated_loss.check import Loading, SimulatedLossCheck
from weighworthy_service.checks.simulated_loss.evaluation import evaluate
from weighworthy_service.metrology.loss import loss, slopes

# Masses in g, correlation of the two, u(L), u(D) as fractions; 1 mg for each mass.
PROPAGATED = [
    ("10", "9", 0.0, 1.345362e-4, 1.660941e-4),
    ("10", "9", 0.5, 9.539392e-5, 1.177703e-4),
    ("10", "9", 0.9, 4.358899e-5, 5.381357e-5),
    ("10", "9", 1.0, 1.000000e-5, 1.234568e-5),
    ("10", "8", 0.0, 1.280625e-4, 2.000976e-4),
    ("5", "4.217", 0.0, 2.616351e-4, 3.678145e-4),
    ("2", "1.9", 0.0, 6.896557e-4, 7.641615e-4),
    ("10", "0.5", 0.0, 1.001249e-4, 4.004997e-2),
]


@pytest.mark.parametrize(("initial", "final", "r", "wet", "dry"), PROPAGATED)
def test_sensitivities(initial: str, final: str, r: float, wet: float, dry: float) -> None:
    """u² = c_i²u² + c_f²u² + 2r·c_i·c_f·u² with our sensitivities (in % per g)."""
    for basis, expected in (("wet", wet), ("dry", dry)):
        at = slopes(Fraction(initial), Fraction(final), basis)
        i, f = float(at.initial) / 100, float(at.final) / 100
        u = 0.001 * sqrt(i**2 + f**2 + 2 * r * i * f)
        assert u == pytest.approx(expected, rel=5e-7)


@pytest.mark.parametrize(
    ("basis", "common"),
    # ∂L/∂(offset) = -L/m_i = -20 %/10 g; ∂D/∂(offset) = -D/m_f = -25 %/8 g.
    [("wet", Fraction(-20, 10)), ("dry", Fraction(-25, 8))],
)
def test_what_is_common_to_both_readings(basis: str, common: Fraction) -> None:
    """A common offset acts with the loss only; a common gain cancels exactly on either basis."""
    at = slopes(Fraction(10), Fraction(8), basis)
    assert at.initial * 10 + at.final * 8 == 0
    assert at.common == common


def _simulated(make: Any, d: str, start: str, end: str, **fields: str) -> Any:
    """A simulated loss with ideal weights; only the balance brings uncertainty in."""
    lifted = str(Decimal(start) - Decimal(end))
    weights = [
        make.weight(name, mass, conventional_mass=mass, expanded_uncertainty="0")
        for name, mass in (("A", end), ("B", lifted))
    ]
    return evaluate(
        SimulatedLossCheck(
            make.circumstances(make.instrument(d, **fields), weights),
            Loading(("A", "B"), Decimal(start)),
            Loading(("A",), Decimal(end)),
        ),
        make.terms(),
    ).criteria[0]


# d and m_i in g, m_f in g, standard uncertainty of L and hard bound of its error, as fractions.
DIGITISED = [
    ("0.001", "10", "8", 3.741657e-5, 1e-4),
    ("0.001", "5", "4.217", 7.606679e-5, 2e-4),
    ("0.01", "10", "9.5", 3.984344e-4, 1e-3),
    ("0.0001", "2", "1.6868", 1.901670e-5, 5e-5),
]


@pytest.mark.parametrize(("d", "start", "end", "u", "_bound"), DIGITISED)
def test_digitisation(make, *, d: str, start: str, end: str, u: float, _bound: float) -> None:
    """u = (d/m_i)·√((1-L)² + 1 + L²)/√12: zero, initial and final reading; in % in an answer."""
    criterion = _simulated(make, d, start, end)
    assert criterion.standard_uncertainty / 100 == pytest.approx(u, rel=5e-7)


@pytest.mark.parametrize(("d", "start", "end", "_u", "bound"), DIGITISED)
def test_hard_bound_of_rounding(d: str, start: str, end: str, _u: float, bound: float) -> None:
    """Zero, initial and final reading off by up to d/2 each: |δL| ≤ d/m_i, to first order.

    Reproducible Monte Carlo of the physics; the bound is the largest sum of our sensitivities,
    (|c_i| + |c_f| + |c_i + c_f|)·d/2, which `displayed-disagrees` rests on.
    """
    at = slopes(Fraction(start), Fraction(end), "wet")
    ours = (abs(at.initial) + abs(at.final) + abs(at.common)) / 100 * Fraction(d) / 2
    assert float(ours) == pytest.approx(bound, rel=1e-12)
    draw = np.random.default_rng(92)
    half = float(d) / 2
    zero, first, last = draw.uniform(-half, half, (3, 200_000))
    m_i, m_f = float(start), float(end)
    shown = 1 - (m_f + last - zero) / (m_i + first - zero)
    errors = np.abs(shown - float(loss(Fraction(start), Fraction(end), "wet")) / 100)
    assert errors.max() <= bound * (1 + 2 * float(d) / m_i)  # beyond first order
    assert errors.max() >= 0.95 * bound
    assert errors.std() < bound / 2


@pytest.mark.parametrize(
    ("removed", "mass"),
    # m_min = 2s·√(1 + (1 - L)²)/R, s = 1 mg, R = 0.1 percentage points.
    [("0.2", 2.561), ("0.5", 2.236), ("0.9", 2.010)],
)
def test_smallest_load(make, removed: str, mass: float) -> None:
    """At that load twice the contribution of repeatability is R. (L = 0 cannot be simulated.)"""
    start = Decimal(str(mass))
    end = start * (1 - Decimal(removed))
    criterion = _simulated(make, "0.001", str(start), str(end), repeatability="0.001")
    (row,) = (row for row in criterion.budget if row.source == "repeatability")
    assert 2 * row.contribution == pytest.approx(0.1, rel=0.0005 / mass)


@pytest.mark.parametrize(
    ("weight_class", "apart", "together"),
    # A = 5 + 2 + 1 g stays, B = 2 g is lifted off; limits/√3, those of A added arithmetically.
    # As fractions: B against A independent, and wholly correlated.
    [("OIML F1", 7.07e-6, 1.15e-6), ("OIML M1", 7.07e-5, 1.15e-5)],
)
def test_reference_ratio(make, *, weight_class: str, apart: float, together: float) -> None:
    """By sign: what stays adds up, what is lifted off is independent of it; nothing cancels.

    With full correlation most would cancel; that is not taken. The worst case adds both groups.
    """
    stays = [make.weight(f"A{n}", n, weight_class) for n in ("5", "2", "1")]
    weights = [*stays, make.weight("B", "2", weight_class)]
    names = tuple(w.name for w in weights)
    check = SimulatedLossCheck(
        make.circumstances(make.instrument(), weights),
        Loading(names, Decimal(10)),
        Loading(names[:3], Decimal(8)),
    )

    def of_weights(correlation: str) -> float:
        budget = evaluate(check, make.terms(weights_correlation=correlation)).criteria[0].budget
        rows = [r.contribution for r in budget if r.source.startswith("reference weights")]
        return sqrt(sum(c**2 for c in rows)) / 100

    assert of_weights("by-sign") == pytest.approx(apart, rel=0.0007)  # half of the third digit
    assert of_weights("by-sign") > 6 * together
    assert of_weights("worst") > of_weights("by-sign") > of_weights("independent")


FINE = st.fractions(-1, 1, max_denominator=1000)  # of half a scale interval


@settings(max_examples=400, deadline=None)
@given(
    d=st.sampled_from(["0.01", "0.001", "0.0001"]),
    step=st.sampled_from(["0.1", "0.01", "0.001"]),
    start=st.integers(1, 100),
    share=st.fractions(0, 1, max_denominator=50),
    hidden=st.tuples(FINE, FINE),
    basis=st.sampled_from(["wet", "dry"]),
    cut=st.booleans(),
)
def test_an_honest_display_never_disagrees(
    make, *, d, step, start, share, hidden, basis, cut
) -> None:
    """The balance computes the loss from what it weighs, shows masses rounded to d and the loss
    rounded (or cut) to its step: rounding explains every difference, so there is no finding.
    """
    rest = max(Fraction(start) * (1 - share), 20 * Fraction(d))
    shown = [round(Fraction(m) / Fraction(d)) * Decimal(d) for m in (start, rest)]
    weighed = [Fraction(m) + h * Fraction(d) / 2 for m, h in zip(shown, hidden, strict=True)]
    exact = loss(weighed[0], weighed[1], basis) / Fraction(step)
    display = (exact.__trunc__() if cut else round(exact)) * Decimal(step)
    rounding = "down" if cut else "nearest"
    weights = [make.weight("A", "1", "OIML F1"), make.weight("B", "2", "OIML F1")]
    check = SimulatedLossCheck(
        make.circumstances(make.instrument(d, loss_interval=step, loss_rounding=rounding), weights),
        Loading(("A", "B"), shown[0]),
        Loading(("A",), shown[1]),
        display,
        basis,
    )
    codes = {finding.code for finding in evaluate(check, make.terms()).findings}
    assert "displayed-disagrees" not in codes
