"""How long a balance stays in tolerance, from checks that found it so or not.

Each trial: an interval that began in tolerance, and whether the check at its end found it so. When
within the interval it went out is not seen (grouped, or interval-censored, data). Model: it goes
out at a constant rate, R(t) = exp(-λt), as knocks do; steady drift does not. The rate is that of
greatest likelihood, its bounds where twice the logarithm of the likelihood ratio reaches the
quantile of chi-squared with one degree of freedom. Statistical methods of this kind are among those
of ILAC-G24 / OIML D 10 (from memory). Times in s, rates per s.
"""

from collections.abc import Callable, Collection, Iterable
from math import expm1, fsum, inf, log
from typing import Final, NamedTuple

from scipy.special import betaincinv, chdtrc, chdtri


class Trial(NamedTuple):
    """From the entry `since`, which left the balance in tolerance, to the check `entry`."""

    entry: str
    since: str
    elapsed: float
    in_tolerance: bool


class Bounds(NamedTuple):
    """An estimate and its two-sided confidence interval; inf: there is no upper end."""

    value: float
    low: float
    high: float


_UNKNOWN: Final = Bounds(0.0, 0.0, inf)


def share(passed: int, total: int, confidence: float) -> Bounds:
    """Share of `passed` in `total`, above none, with the interval of Clopper and Pearson (1934)."""
    tail = (1 - confidence) / 2
    low = float(betaincinv(passed, total - passed + 1, tail)) if passed else 0.0
    high = float(betaincinv(passed + 1, total - passed, 1 - tail)) if passed < total else 1.0
    return Bounds(passed / total, low, high)


def rate(trials: Collection[Trial], confidence: float) -> Bounds:
    """The rate λ at which balances go out of tolerance.

    Without a failure it is 0, and its upper bound is one-sided: no failure in all the time T has
    the probability exp(-λT), which is 1 - `confidence` at λ = -ln(1 - confidence)/T. Where every
    check failed it has no upper end.
    """
    passed, failed = _times(trials)
    served = fsum(passed)
    if not trials:
        return _UNKNOWN
    if not failed:
        return Bounds(0.0, 0.0, -log(1 - confidence) / served)
    drop = float(chdtri(1, 1 - confidence)) / 2
    if not passed:
        return Bounds(
            inf, _where(lambda r: _log_likelihood(trials, r) + drop, 1 / min(failed)), inf
        )
    found = _most_likely(passed, failed)
    top = _log_likelihood(trials, found)

    def above(r: float) -> float:
        return _log_likelihood(trials, r) - top + drop

    return Bounds(found, _where(above, found), _where(above, found, 2.0))


def kept(rate: Bounds, reliability: float) -> Bounds:
    """For how long the wanted reliability is kept: -ln(R)/λ; inf at a rate of 0."""
    return Bounds(*(_divided(-log(reliability), r) for r in (rate.value, rate.high, rate.low)))


def probability_alike(groups: Iterable[Collection[Trial]]) -> float | None:
    """Chance of groups that differ at least so much, if one rate holds for all; None: one group.

    Likelihood ratio of one rate for each group against one for all: chi-squared with one degree of
    freedom less than there are groups (approximate; rough where failures are few).
    """
    each = [list(group) for group in groups if group]
    if len(each) < 2:
        return None
    together = _greatest([trial for group in each for trial in group])
    ratio = 2 * (fsum(_greatest(group) for group in each) - together)
    return float(chdtrc(len(each) - 1, max(0.0, ratio)))


def _greatest(trials: Collection[Trial]) -> float:
    """Logarithm of the likelihood at its greatest."""
    passed, failed = _times(trials)
    if not passed or not failed:
        return 0.0
    return _log_likelihood(trials, _most_likely(passed, failed))


def _most_likely(passed: Collection[float], failed: Collection[float]) -> float:
    """Where the slope of the log-likelihood, which falls with the rate, is zero.

    As 1/x - 1/2 <= 1/(exp(x) - 1) <= 1/x, it lies between f/(P + F/2) and f/P: f failures, P and F
    the sums of the times that ended in tolerance and out of it.
    """
    from scipy.optimize import brentq  # noqa: PLC0415 - takes long to load

    served = fsum(passed)

    def slope(r: float) -> float:
        return fsum(t / expm1(r * t) if r * t < 700 else 0.0 for t in failed) - served

    low, high = len(failed) / (served + fsum(failed) / 2), len(failed) / served
    return float(brentq(slope, low * (1 - 1e-9), high * (1 + 1e-9), xtol=low * 1e-12))


def _log_likelihood(trials: Iterable[Trial], r: float) -> float:
    return fsum(
        -r * trial.elapsed if trial.in_tolerance else log(-expm1(-r * trial.elapsed))
        for trial in trials
    )


def _where(above: Callable[[float], float], inside: float, step: float = 0.5) -> float:
    """Where a function that is positive at `inside`, or beyond it, falls through zero."""
    from scipy.optimize import brentq  # noqa: PLC0415

    while above(inside) <= 0:
        inside /= step
    outside = inside * step
    while above(outside) > 0:
        outside *= step
    low, high = sorted((inside, outside))
    return float(brentq(above, low, high, xtol=low * 1e-12))


def _times(trials: Iterable[Trial]) -> tuple[list[float], list[float]]:
    passed: list[float] = []
    failed: list[float] = []
    for trial in trials:
        (passed if trial.in_tolerance else failed).append(trial.elapsed)
    return passed, failed


def _divided(numerator: float, r: float) -> float:
    return inf if r == 0 else numerator / r
