"""The loss, the expected loss and their sensitivities, on both bases."""

from fractions import Fraction

import pytest

from weighworthy_service.checks.simulated_loss.loss import Reference, outcome
from weighworthy_service.metrology.loss import loss, slopes
from weighworthy_service.metrology.quantity import QUANTA

F = Fraction


def test_loss_on_both_bases():
    assert loss(F(25), F(20), "wet") == 20
    assert loss(F(25), F(20), "dry") == 25
    assert loss(F(20), F(25), "wet") == -25


@pytest.mark.parametrize(
    ("basis", "initial", "final", "common"),
    [
        # 100·20/25², -100/25, and -L/I0 = -20/25
        ("wet", F(16, 5), F(-4), F(-4, 5)),
        # 100/20, -100·25/20², and -L/I1 = -25/20
        ("dry", F(5), F(-25, 4), F(-5, 4)),
    ],
)
def test_slopes(basis, initial, final, common):
    found = slopes(F(25), F(20), basis)
    assert (found.initial, found.final, found.common) == (initial, final, common)


@pytest.mark.parametrize("basis", ["wet", "dry"])
def test_slopes_are_derivatives(basis):
    step = F(1, 10**9)
    at = slopes(F(25), F(20), basis)
    for found, quotient in (
        (at.initial, (loss(25 + step, F(20), basis) - loss(F(25), F(20), basis)) / step),
        (at.final, (loss(F(25), 20 + step, basis) - loss(F(25), F(20), basis)) / step),
    ):
        assert float(found) == pytest.approx(float(quotient), rel=1e-8)


@pytest.fixture
def weights(make):
    return [
        make.certified("S", "20", "20.002", "0.0001"),
        make.certified("R", "5", "4.999", "0.0001"),
        make.certified("T", "2", "2.001", "0.0001"),
    ]


@pytest.fixture
def check(make, weights):
    def of(start="S R", end="S", **more):
        return make.loss(make.loading(start, "25"), make.loading(end, "20"), weights, **more)

    return of


@pytest.fixture
def sensitivities(check):
    """To each weight, in % per g."""

    def of(*loads, **more):
        effects = Reference(check(*loads, **more)).weights
        return {name: F(c, effects.per) for name, c in effects.weights.items()}

    return of


@pytest.mark.parametrize(
    ("start", "end", "basis", "expected"),
    [
        # 100·(1 - 20.002/25.001)
        ("S R", "S", "wet", 100 * F(4999, 25001)),
        ("S R", "S", "dry", 100 * F(4999, 20002)),
        # several lifted off: 100·(1 - 20.002/27.002)
        ("S R T", "S", "wet", 100 * F(7000, 27002)),
        # swapped: 5 g off, 2 g on: 100·(1 - 22.003/25.001)
        ("S R", "S T", "wet", 100 * F(2998, 25001)),
        # all exchanged: 100·(1 - 4.999/20.002)
        ("S", "R", "wet", 100 * F(15003, 20002)),
        ("S", "S", "wet", F(0)),
    ],
)
def test_the_expected_loss_comes_from_the_weights(check, start, end, basis, expected):
    assert Reference(check(start, end, basis=basis)).expected == expected


def test_the_error_is_loss_less_expected_loss(check):
    result = outcome(check())
    assert F(*result.value) == F(*result.from_masses) == 20
    assert F(*result.error) == 20 - 100 * F(4999, 25001)


@pytest.mark.parametrize(
    ("basis", "removed", "staying"),
    [
        # ∂L_ref/∂m_R = 100 S/(R+S)² and ∂L_ref/∂m_S = -100 R/(R+S)², with changed sign in E
        ("wet", -100 * F("20.002") / F("25.001") ** 2, 100 * F("4.999") / F("25.001") ** 2),
        # 100/S and -100 R/S²
        ("dry", -100 / F("20.002"), 100 * F("4.999") / F("20.002") ** 2),
    ],
)
def test_sensitivities_to_the_weights(sensitivities, basis, removed, staying):
    assert sensitivities(basis=basis) == {"S": staying, "R": removed}


def test_a_swapped_weight_acts_through_the_end_alone(sensitivities):
    weights = sensitivities("S R", "S T")
    # L_ref = 100(1 - m1/m0): ∂/∂T = -100/m0; with changed sign in E
    assert weights["T"] == 100 / F("25.001")


def test_from_the_displayed_loss_the_reference_masses_stand_for_the_readings(make, weights):
    check = make.loss(
        make.loading("S R"),
        make.loading("S"),
        weights,
        displayed_loss="19.98",
        instrument=make.balance(loss_interval="0.01"),
    )
    result = outcome(check)
    assert (F(*result.value), result.from_masses) == (F("19.98"), None)
    assert F(*result.error) == F("19.98") - 100 * F(4999, 25001)
    masses = (F(result.initial, QUANTA), F(result.final, QUANTA))
    assert masses == (F("25.001"), F("20.002"))
    assert result.at == slopes(F("25.001"), F("20.002"), "wet")
