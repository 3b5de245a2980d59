"""Many questions asked of one logbook: how small a chance must be to stand out among them."""

from collections.abc import Sequence


def holm(chances: Sequence[float]) -> tuple[float, ...]:
    """Chances adjusted for their number by the step-down way of Holm (1979), in their order.

    Below a level in an adjusted chance, the probability of even one false alarm is below the level,
    however the questions depend on each other.
    """
    ranked = sorted(range(len(chances)), key=lambda i: chances[i])
    adjusted = [0.0] * len(chances)
    least = 0.0
    for rank, i in enumerate(ranked):
        least = max(least, min(1.0, (len(chances) - rank) * chances[i]))
        adjusted[i] = least
    return tuple(adjusted)
