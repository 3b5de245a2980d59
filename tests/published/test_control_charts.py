"""Control charts and run rules against published examples, in data/control_charts.json, and against
a real history, in data/nist_mass_check_standard.json.

NIST/SEMATECH e-Handbook 6.3.2.2 to 6.3.2.4: the data are from memory, and reproduce every printed
figure. Limits and average run lengths in the files were computed apart from this code: closed forms
and Markov chains.
"""

from collections.abc import Callable, Iterator
from itertools import count
from math import sqrt
from typing import Any

import numpy as np
import pytest

from weighworthy_service.logbook.drift.charts import D2, D3, cusum, estimated, ewma, moving_ranges
from weighworthy_service.logbook.drift.run_rules import NELSON, firings


@pytest.fixture(scope="module")
def charts(data: Any) -> dict[str, Any]:
    return data("control_charts.json")


@pytest.fixture(scope="module")
def history(data: Any) -> tuple[list[float], list[float], dict[str, Any]]:
    """Dates in years since 1900, values in mg, and what was computed of them."""
    read = data("nist_mass_check_standard.json")
    dates, values = ([float(row[i]) for row in read["rows"]] for i in (0, 1))
    return dates, values, read["computed"]


def test_constants(charts: dict[str, Any]) -> None:
    stated = charts["constants"]
    assert pytest.approx(stated["d2_2"], rel=1e-15) == D2
    assert pytest.approx(stated["d3_2"], rel=1e-14) == D3


def test_individuals_and_moving_range(charts: dict[str, Any]) -> None:
    """The handbook's limits rest on d2 rounded to 1.128; ours on d2."""
    example = charts["imr_example"]
    baseline = estimated(example["x"])
    assert moving_ranges(example["x"]) == pytest.approx(example["MR"])
    assert baseline.centre == pytest.approx(50.81)
    assert baseline.mean_moving_range == pytest.approx(1.8778, abs=0.00005)
    as_printed = D2 / 1.128
    assert (baseline.upper - 50.81) * as_printed + 50.81 == pytest.approx(55.8041, abs=0.00005)
    assert (baseline.lower - 50.81) * as_printed + 50.81 == pytest.approx(45.8159, abs=0.00005)
    # Printed with D4 rounded to 3.267.
    assert baseline.upper_moving_range == pytest.approx(example["UCL_MR"], abs=0.001)
    assert firings(baseline.standardised(example["x"]), NELSON[1]) == []


def test_ewma(charts: dict[str, Any]) -> None:
    """All 20 averages to their two printed decimals. The handbook prints 47.4115 for 47.41157."""
    example = charts["ewma_example"]
    found = ewma(example["x"], example["ewma0"], example["s"], example["lambda"], example["k"])
    printed = "50.60 49.52 50.56 50.18 50.16 49.21 49.75 49.85 50.26 50.33 50.11 49.36 49.52 50.05"
    printed += " 49.38 49.92 50.73 51.23 51.94 51.99"
    assert [f"{value:.2f}" for value in found.values] == printed.split()
    assert found.upper == pytest.approx(52.5884, abs=0.00005)
    assert found.lower == pytest.approx(47.4115, abs=0.0001)
    assert found.outside == ()


def test_cusum(charts: dict[str, Any]) -> None:
    """Every printed sum; the first signal is at point 14."""
    example = charts["cusum_example"]
    rows = example["rows"]
    values = [row["x"] for row in rows]
    found = cusum(values, example["target"], 1, example["k"], example["h"])
    assert found.high == pytest.approx([row["S_hi"] for row in rows], abs=1e-9)
    assert found.low == pytest.approx([row["S_lo"] for row in rows], abs=1e-9)
    signals = [row["i"] - 1 for row in rows if row["signal"]]
    assert list(found.outside_high) == signals
    assert signals[0] == 13
    assert found.outside_low == ()


def test_run_rules(charts: dict[str, Any]) -> None:
    vectors = charts["run_rules"]["test_vectors"]
    assert len(vectors) == 10
    for vector in vectors:
        fires = firings(vector["z"], NELSON[int(vector["rule"])])
        expected = vector["fires_at_index0"]
        assert fires[:1] == ([] if expected is None else [expected]), vector


def test_real_balance_shewhart(history: tuple[list[float], list[float], dict[str, Any]]) -> None:
    """Of 217 results of a check standard two lie beyond three sigma of those before 85.4."""
    dates, values, computed = history
    first = sum(date < 85.4 for date in dates)
    assert (len(values), first) == (217, computed["n_baseline"])
    centre, sigma = float(np.mean(values[:first])), float(np.std(values[:first], ddof=1))
    assert centre == pytest.approx(computed["mean"], abs=1e-9)
    standardised = [(value - centre) / sigma for value in values]
    assert firings(standardised, NELSON[1]) == computed["shewhart_out_of_limits_index0"]


def test_real_balance_ewma(history: tuple[list[float], list[float], dict[str, Any]]) -> None:
    """The moving average, begun at the centre after the baseline, tells of the shift that came."""
    _, values, computed = history
    first, centre, sigma = (computed[name] for name in ("n_baseline", "mean", "sd"))
    found = ewma(values[first:], centre, sigma, weight=0.2, width=3)
    assert [found.lower, found.upper] == pytest.approx(computed["ewma_lambda0.2_limits"])
    assert len(found.outside) == computed["ewma_points_out_of_limits"] == 50
    assert first + found.outside[0] == computed["ewma_first_signal_index0"] == 153
    assert found.values[found.outside[0]] == pytest.approx(computed["ewma_first_signal_value"])


def run_lengths(
    signals: Callable[[list[float]], Iterator[int]], shift: float, runs: int
) -> list[int]:
    """How many drawn values it takes to the first signal, in stretches that begin anew."""
    generator = np.random.default_rng(1956)
    lengths = []
    for _ in range(runs):
        values: list[float] = []
        for stretch in count():
            values += generator.normal(shift, 1, 60 if stretch == 0 else 2000).tolist()
            found = next(signals(values), None)
            if found is not None:
                lengths.append(found + 1)
                break
    return lengths


def by_sums(values: list[float]) -> Iterator[int]:
    found = cusum(values, 0, 1)
    yield from sorted([*found.outside_high, *found.outside_low])


def by_averages(values: list[float]) -> Iterator[int]:
    yield from ewma(values, 0, 1).outside


def by_limits(values: list[float]) -> Iterator[int]:
    yield from firings(values, NELSON[1])


@pytest.mark.parametrize(
    ("signals", "published"),
    [
        (by_limits, ("shewhart_3s",)),
        (by_averages, ("ewma", "lam0.2_L2.962")),
        (by_sums, ("cusum_two_sided_k0.5", "h5")),
    ],
    ids=["individuals", "ewma", "cusum"],
)
@pytest.mark.parametrize(("shift", "name"), [(0, "ARL0"), (1, "ARL_1sigma")])
def test_average_run_lengths(
    charts: dict[str, Any], signals: Any, published: tuple[str, ...], shift: float, name: str
) -> None:
    """Between false alarms, and until a shift of one sigma is found, within 3.3 standard errors."""
    stated = charts["arl"]
    for part in published:
        stated = stated[part]
    lengths = run_lengths(signals, shift, 400)
    error = float(np.std(lengths, ddof=1)) / sqrt(len(lengths))
    assert float(np.mean(lengths)) == pytest.approx(stated[name], abs=3.3 * error)
