"""Holm's step-down correction by hand."""

import pytest

from weighworthy_service.logbook.signals.holm import holm


def test_by_hand():
    """Ranked 0.005, 0.01, 0.03, 0.04: times 4, 3, 2, 1: 0.02, 0.03, 0.06, 0.04; never falling."""
    assert holm([0.01, 0.04, 0.03, 0.005]) == pytest.approx((0.03, 0.06, 0.06, 0.02))


def test_never_above_one_and_nothing_for_nothing():
    assert holm([0.5, 0.4, 0.9]) == (1, 1, 1)
    assert holm([0.2]) == (0.2,)
    assert holm([]) == ()
