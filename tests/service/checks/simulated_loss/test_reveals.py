"""What a simulated loss would reveal: 25 g, 5 g lifted off, L = 20 %, limit 0.05 %, d = 1 mg."""

from math import sqrt

import pytest
from scipy.stats import norm
from scipy.stats import t as student

from weighworthy_service.checks.simulated_loss.evaluation import evaluate

C0, C1 = 100 * 20 / 25**2, -100 / 25  # 3.2 and -4 % per g
COMMON = -20 / 25
DIGIT = 0.001 / sqrt(12)
# Two readings and one shared zero, digitised
SCATTER = DIGIT * sqrt(C0**2 + C1**2 + COMMON**2)


@pytest.fixture
def reveals(make):
    def of(limit="0.05 %", *, start="S R", end="S", decision=None, **more):
        weights = [make.weight("S", "20"), make.weight("R", "5"), make.weight("T", "2")]
        indications = more.pop("indications", ("25.000", "20.000"))
        check = make.loss(
            make.loading(start, indications[0]), make.loading(end, indications[1]), weights, **more
        )
        limits = {} if limit is None else {"loss_error": limit}
        terms = make.terms(limits, **({} if decision is None else {"decision": decision}))
        return {line["fault"]: line for line in evaluate(check, terms).results["reveals"]}

    return of


@pytest.mark.parametrize(
    ("fault", "sensitivity", "unit"),
    [
        ("zero-change", C1, "g"),
        ("common-zero", COMMON, "g"),
        ("removed-weight", -100 * 20 / 25**2, "g"),
        ("staying-weight", 100 * 5 / 25**2, "g"),
        ("gain-change", -100 * 20 / 25, "1"),
        ("departure-at-final", C1, "g"),
    ],
)
def test_the_smallest_fault_that_shows(reveals, fault, sensitivity, unit):
    line = reveals()[fault]
    # (A + 1.645·u_r)/|c|
    smallest = (0.05 + norm.ppf(0.95) * SCATTER) / abs(sensitivity)
    assert line["sensitivity"] == pytest.approx(sensitivity, rel=1e-12)
    assert line["smallest"] == pytest.approx(smallest, rel=1e-9)
    assert line["unit"] == unit
    assert "95 % probability" in line["message"]


def test_a_constant_gain_cancels(reveals):
    line = reveals()["constant-gain"]
    assert (line["smallest"], line["sensitivity"]) == (None, None)
    assert "cancels" in line["message"]


def test_curvature_is_nearly_invisible(reveals, make):
    # -4·m·L(1 - L)/Max² = -4·25·0.2·0.8/100² per g of bow, in percentage points times 100
    line = reveals(instrument=make.balance(capacity="100"))["curvature"]
    assert line["sensitivity"] == pytest.approx(-0.16, rel=1e-12)
    assert line["smallest"] == pytest.approx((0.05 + norm.ppf(0.95) * SCATTER) / 0.16, rel=1e-9)
    assert reveals()["curvature"]["smallest"] is None, "without a capacity no bow can be sized"


def test_curvature_of_a_loss_of_next_to_nothing(make):
    # 1 µg of 1 kg: -4·1000·1e-9·(1 - 1e-9)/2000² per g of bow times 100.
    weights = [
        make.certified("S", "999.999999", "999.999999", "0.001"),
        make.certified("R", "0.000001", "0.000001", "0.0000001"),
    ]
    loads = [make.loading("S R", "1000.000"), make.loading("S", "1000.000")]
    check = make.loss(*loads, weights, instrument=make.balance(capacity="2000"))
    lines = evaluate(check, make.terms({})).results["reveals"]
    (line,) = [line for line in lines if line["fault"] == "curvature"]
    assert line["sensitivity"] == pytest.approx(-1e-10 * (1 - 1e-9), rel=1e-12, abs=0)


def test_curvature_is_what_a_bowed_balance_would_show(reveals, make):
    # A balance with e(x) = 4q·x(Max - x)/Max², q = 1 mg at mid-range of 100 g, weighing 25 g, 20 g.
    def bowed(x, q=1e-3, maximum=100):
        return x + 4 * q * x * (maximum - x) / maximum**2

    seen = 100 * (bowed(25) - bowed(20)) / bowed(25) - 20
    line = reveals(instrument=make.balance(capacity="100"))["curvature"]
    assert line["sensitivity"] * 1e-3 == pytest.approx(seen, rel=1e-3)


@pytest.mark.parametrize(
    ("heating", "words"),
    [(True, "was heated"), (False, "cannot see what heat does"), (None, "not stated")],
)
def test_every_answer_says_what_it_knows_of_heat(reveals, heating, words):
    line = reveals(heating=heating)["heat"]
    assert words in line["message"]
    assert line["smallest"] is None


def test_only_digitisation_and_repeatability_scatter(reveals, make):
    noisy = make.balance(repeatability="0.002", repeatability_observations=6)
    line = reveals(instrument=noisy)["zero-change"]
    rep = 0.002 * sqrt(C0**2 + C1**2)
    u = sqrt(SCATTER**2 + rep**2)
    degrees = u**4 / (rep**4 / 5)
    smallest = (0.05 + student.ppf(0.95, degrees) * u) / 4
    assert line["smallest"] == pytest.approx(smallest, rel=1e-9)


def test_the_larger_side_of_the_acceptance_limit_counts(reveals):
    lines = reveals({"lower": "-0.02 %", "upper": "0.05 %"})
    symmetric = reveals("0.05 %")
    assert lines["zero-change"]["smallest"] == symmetric["zero-change"]["smallest"]


@pytest.mark.parametrize("side", [{"lower": "-0.05 %"}, {"upper": "0.05 %"}])
def test_one_side_alone_is_that_limit(reveals, side):
    symmetric = reveals("0.05 %")["zero-change"]["smallest"]
    assert reveals(side)["zero-change"]["smallest"] == symmetric


def test_a_guard_band_lets_smaller_faults_show(reveals, make):
    guarded = reveals("0.05 %", decision=make.decision("guarded"))["zero-change"]["smallest"]
    simple = reveals("0.05 %")["zero-change"]["smallest"]
    # U is that of the criterion: digitisation and weights R (0.16 mg) and S (0.25 mg), class F1.
    weights = sqrt((0.00016 * 3.2 / sqrt(3)) ** 2 + (0.00025 * 0.8 / sqrt(3)) ** 2)
    expanded = 2 * sqrt(SCATTER**2 + weights**2)  # 0.003090 %, stated as 0.0031
    assert 0.0030 < expanded < 0.0031
    assert simple - guarded == pytest.approx(0.0031 / 4, rel=1e-9)


@pytest.mark.parametrize("limit", [None, "0.001 %"], ids=["no limit", "nothing can pass"])
def test_without_acceptance_no_fault_has_a_size(reveals, make, limit):
    lines = reveals(limit, decision=make.decision("guarded"))
    assert {line["smallest"] for line in lines.values()} == {None}


def test_weights_that_are_put_on_have_their_line(reveals):
    lines = reveals(start="S R", end="S T", indications=("25.000", "22.000"))
    assert lines["placed-weight"]["sensitivity"] == pytest.approx(100 / 25)
    assert "staying-weight" in lines
    assert "placed-weight" not in reveals()
    assert "staying-weight" not in reveals(start="S", end="R", indications=("20.000", "5.000"))


def test_where_nothing_was_lost_a_common_zero_does_not_show(reveals):
    line = reveals(start="S", end="S", indications=("20.000", "20.000"))["common-zero"]
    assert line["smallest"] is None
    assert "does not show" in line["message"]


def test_on_dry_basis(reveals):
    lines = reveals(basis="dry")
    # -100·I0/I1², -L/I1 and -100·I0/I1
    assert lines["zero-change"]["sensitivity"] == pytest.approx(-100 * 25 / 20**2)
    assert lines["common-zero"]["sensitivity"] == pytest.approx(-25 / 20)
    assert lines["gain-change"]["sensitivity"] == pytest.approx(-100 * 25 / 20)


@pytest.mark.parametrize(
    ("limit", "direction"),
    [
        ({"upper": "0.05 %"}, "where it raises the loss, and never where it lowers it"),
        ({"lower": "-0.05 %"}, "where it lowers the loss, and never where it raises it"),
    ],
)
def test_one_limit_lets_a_fault_show_in_one_direction_only(reveals, limit, direction):
    assert direction in reveals(limit)["zero-change"]["message"]
    assert "never" not in reveals("0.05 %")["zero-change"]["message"]


def test_curvature_needs_the_capacity(reveals, make):
    line = reveals("0.05 %", instrument=make.balance())["curvature"]
    assert (line["smallest"], line["sensitivity"]) == (None, None)
    assert "capacity" in line["message"]
