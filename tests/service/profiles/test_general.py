"""The built-in profile: complete, sourced, and derived as its comments say."""

from decimal import Decimal
from fractions import Fraction
from importlib import resources
from itertools import product
from math import ceil, sqrt

import numpy as np
import pytest
from scipy.stats import studentized_range

from weighworthy_service.checks.registry import KINDS
from weighworthy_service.checks.terms import AtLeast, Decision, Validity, WeightShare
from weighworthy_service.metrology.instrument import Instrument
from weighworthy_service.metrology.limits import Basis
from weighworthy_service.profiles.canonical import from_toml
from weighworthy_service.profiles.finding import built_in, find_profile
from weighworthy_service.profiles.resolve import terms_for

BALANCE = Instrument(Decimal("0.001"))
# USP <41>, smallest repeatability (secondary text).
FLOOR = 0.41


@pytest.fixture
def terms(at):
    return lambda check: terms_for(find_profile(None, built_in()), check, at())


def upper(terms, name, unit="g", load="50"):
    limit = terms.limits[name].limit
    interval = limit.at(Basis(BALANCE, Decimal(load), unit))
    assert interval.lower == -interval.upper
    return interval.upper


def test_every_kind_of_check_has_the_limits_that_follow_from_the_scale_interval(terms):
    limited = {kind.slug: set(terms(kind.slug).limits) for kind in KINDS}
    # What a dry run or a substance may be off by follows from no scale interval.
    assert {slug: names for slug, names in limited.items() if names} == {
        "span": {"span_error", "zero_return", "span_agreement"},
        "linearity": {"point_error", "hysteresis"},
        "simulated-loss": {"loss_error"},
    }


@pytest.mark.parametrize("check", ["span", "linearity", "simulated-loss"])
def test_every_limit_names_its_source(terms, check):
    for in_force in terms(check).limits.values():
        assert in_force.limit.source.startswith(("derived: ", "USP <41>"))
        assert "secondary text" in in_force.limit.source


@pytest.mark.parametrize(
    ("check", "name"),
    [("span", "zero_return"), ("span", "span_agreement"), ("linearity", "hysteresis")],
)
def test_what_a_request_may_lack_is_judged_when_present(terms, check, name):
    assert terms(check).limits[name].limit.when_present is True


@pytest.mark.parametrize(
    ("check", "name"),
    [("span", "span_error"), ("linearity", "point_error"), ("simulated-loss", "loss_error")],
)
def test_what_a_check_is_for_is_never_optional(terms, check, name):
    assert terms(check).limits[name].limit.when_present is False


def test_the_limits_in_scale_intervals_are_the_derived_ones_rounded_up(terms):
    single = ceil(1 + 2 * FLOOR)  # 1.82
    difference = ceil(2 + 2 * sqrt(2) * FLOOR)  # 3.16
    loss = ceil(1 + 2 * sqrt(2) * FLOOR)  # 2.16
    assert (single, difference, loss) == (2, 4, 3)
    d = Fraction(1, 1000)
    assert upper(terms("span"), "zero_return") == single * d
    assert upper(terms("span"), "span_agreement") == difference * d
    assert upper(terms("linearity"), "hysteresis") == difference * d
    # 3 mg of 10 g is 0.03 %.
    assert upper(terms("simulated-loss"), "loss_error", "%", "10") == Fraction(3, 100)


@pytest.mark.parametrize(
    ("load", "limit"),
    [
        ("0.5", "0.002"),  # 0.10 % would be 0.5 mg; two scale intervals are more
        ("2", "0.002"),  # 0.10 % of 2 g is 2 mg: both say the same
        ("5", "0.005"),
        ("50", "0.050"),
    ],
)
def test_errors_of_indication_are_held_against_the_larger_of_share_and_counts(terms, load, limit):
    assert upper(terms("span"), "span_error", load=load) == Fraction(limit)
    assert upper(terms("linearity"), "point_error", load=load) == Fraction(limit)


def test_conditions_and_decision(terms):
    weights = WeightShare(1, 3, "warning")
    assert terms("span").validity == Validity(weights_at_most=weights)
    assert terms("simulated-loss").validity == Validity(weights_at_most=weights)
    assert terms("linearity").validity == Validity(
        weights_at_most=weights, points=AtLeast(Decimal(3), "no-pass")
    )
    for kind in KINDS:
        assert terms(kind.slug).decision == Decision("simple", coverage=Decimal("95.45"))
        assert terms(kind.slug).use_on == ("pass", "conditional-pass")
        assert terms(kind.slug).start_window is None


def test_rounding_of_three_readings_moves_a_loss_by_no_more_than_d_over_the_initial_load():
    # Zero, initial and final reading each off by -d/2, 0 or d/2, for losses from 0 to 99 %.
    start, d = Fraction(10_000), Fraction(1)
    offsets = (-d / 2, Fraction(0), d / 2)
    for percent in range(100):
        loss = Fraction(percent, 100)
        left = start * (1 - loss)
        worst = max(
            abs(1 - (left + f - z) / (start + i - z) - loss)
            for z, i, f in product(offsets, repeat=3)
        )
        # The bound is one of first order; 2 d/m of it are left over for the rest.
        assert worst <= d / start * (1 + 2 * d / start)


@pytest.mark.parametrize(
    ("scatter", "fewest", "most"), [(FLOOR, 1 / 5000, 1 / 3000), (1.0, 0.06, 0.07)]
)
def test_how_often_a_balance_without_error_exceeds_two_scale_intervals(scatter, fewest, most):
    # Loads and zeros anywhere between two steps; each of the two readings has half the variance.
    random, times = np.random.default_rng(20260301), 1_000_000
    zero, load = random.random(times), random.random(times)
    loaded = np.round(zero + load + random.normal(0, scatter / sqrt(2), times))
    unloaded = np.round(zero + random.normal(0, scatter / sqrt(2), times))
    share = np.mean(np.abs(loaded - unloaded - load) > 2)
    assert fewest < share < most


@pytest.mark.parametrize(("dry_loss", "held"), [(0.0, True), (0.20, True), (0.21, False)])
def test_on_dry_basis_the_limit_holds_up_to_a_fifth(dry_loss, held):
    grown = 1 + dry_loss
    needed = grown**2 + 2 * FLOOR * grown * sqrt(1 + grown**2)
    assert (needed <= 3) is held


@pytest.mark.parametrize(("rounds", "quantile"), [(3, 3.31), (5, 3.86), (10, 4.47)])
def test_the_agreement_of_several_rounds_is_still_covered(rounds, quantile):
    # Upper 5 % points of the studentized range for infinite degrees of freedom; scipy holds the
    # figures that the comment quotes, 1e9 standing for infinity.
    assert studentized_range.ppf(0.95, rounds, 1e9) == pytest.approx(quantile, abs=0.005)
    assert 2 + quantile * FLOOR <= 4


def test_the_document_itself_may_be_sent_along():
    folder = resources.files("weighworthy_service.profiles")
    text = (folder / "published" / "general.toml").read_text(encoding="utf-8")
    assert find_profile(from_toml(text), built_in()) == find_profile(None, built_in())
