"""Smallest net masses that a balance supports, each by its own publication. Masses in g.

USP general chapter <41>, text of 2019 (read in quotations and summaries). EURAMET Calibration Guide
No. 18, v4.0, 7.5 and Appendix G (from memory).
"""

from collections.abc import Iterable
from decimal import Decimal
from math import fsum, sqrt
from typing import Final

from weighworthy_service.metrology.quantity import EXACT

# 2·s / m <= 0.10 %, so m >= 2000·s.
USP_41_FACTOR: Final = Decimal(2000)
# In scale intervals: no smaller standard deviation counts.
USP_41_FLOOR: Final = Decimal("0.41")
# Weighings that the standard deviation rests on, at least.
USP_41_OBSERVATIONS: Final = 10


def usp_41_floor(scale_interval: Decimal) -> Decimal:
    """The smallest standard deviation that counts, 0.41 d."""
    return EXACT.multiply(USP_41_FLOOR, scale_interval)


def usp_41(repeatability: Decimal, scale_interval: Decimal) -> Decimal:
    """2·max(s, 0.41 d)/0.10 %, exactly."""
    counted = max(repeatability, usp_41_floor(scale_interval))
    return EXACT.multiply(USP_41_FACTOR, counted)


def weighing_uncertainty(constant: float, relative: float, mass: float) -> float:
    """u(W) = √(α² + β²m²) of a net mass in use (cg-18, 7.4)."""
    return sqrt(constant**2 + (relative * mass) ** 2)


def root_of_squares(parts: Iterable[float]) -> float:
    """√(Σx²): α of its constant parts in g, β of its relative ones."""
    return sqrt(fsum(part**2 for part in parts))


def cg_18(
    constant: float, relative: float, required: float, *, factor: float = 2.0, error: float = 0.0
) -> float | None:
    """The smallest mass with (k·u(W) + |a1|·m)/m <= Req/SF, exactly; None: no mass has that.

    From k²(α² + β²m²) = (Req/SF - |a1|)²·m².

    Args:
        constant: α in g.
        relative: β, a share.
        required: Req/SF, the required accuracy over the safety factor, a share.
        factor: coverage factor k.
        error: |a1|, what the error of the slope is as a share, where it is not corrected.
    """
    room = required - abs(error)
    if room <= factor * relative:
        return None
    return factor * constant / sqrt(room**2 - (factor * relative) ** 2)


def cg_18_linear(
    constant: float,
    relative: float,
    required: float,
    capacity: float,
    *,
    factor: float = 2.0,
    error: float = 0.0,
) -> float | None:
    """The same with U(m) = α_gl + β_gl·m, a straight line through U at zero load and at capacity.

    m = α_gl/(Req/SF - β_gl). The line lies above the curve between its ends, so this mass is the
    larger one.
    """
    at_zero = factor * constant
    at_capacity = factor * weighing_uncertainty(constant, relative, capacity)
    slope = (at_capacity + abs(error) * capacity - at_zero) / capacity
    return None if required <= slope else at_zero / (required - slope)
