"""Losses found of a material against the loss stated of it."""

from datetime import UTC, date, datetime, timedelta, timezone
from decimal import Decimal
from fractions import Fraction
from math import gamma, sqrt
from typing import Any

import numpy as np
import pytest
from scipy import stats

from weighworthy_service.checks.flaws import SenseError
from weighworthy_service.checks.reference_material.check import (
    EarlierSpread,
    Material,
    MaterialRun,
    ReferenceMaterialCheck,
)
from weighworthy_service.checks.reference_material.evaluation import evaluate
from weighworthy_service.checks.terms import AtLeast, Decision, Validity

D = Decimal
LIMITS = {"bias": "0.2 %", "scatter": {"upper": "0.1 %"}}
AT = datetime(2026, 3, 16, 14, 40, tzinfo=UTC)


def weighed(*pairs: tuple[str, str], **more: Any) -> tuple[MaterialRun, ...]:
    return tuple(MaterialRun(D(before), D(after), **more) for before, after in pairs)


def shown(*losses: str) -> tuple[MaterialRun, ...]:
    return tuple(MaterialRun(displayed_loss=D(loss)) for loss in losses)


@pytest.fixture
def material(make: Any) -> Any:
    """Judged runs with a material of 15.66 % ± 0.02 % (u), unless something else is stated."""

    def judged(runs: Any, limits: Any = None, /, *, balance: Any = None, **more: Any) -> Any:
        of_it = {"stated_loss": D("15.66"), "standard_uncertainty": D("0.02"), "certificate": "C"}
        of_it |= {k: more.pop(k) for k in Material.__slots__ if k in more}
        mine = {k: more.pop(k) for k in ("basis", "spread") if k in more}
        performed = more.pop("performed_at", AT)
        owned = {"loss_interval": "0.01"} if balance is None else balance
        here = make.circumstances([], make.balance(**owned), performed_at=performed)
        check = ReferenceMaterialCheck(here, Material(**of_it), tuple(runs), **mine)
        return evaluate(check, make.terms(limits, **more))

    return judged


FOUR = shown("15.56", "15.60", "15.58", "15.62")
TWO = weighed(("3.012", "2.542"), ("3.006", "2.535"))


def codes(evaluation: Any, severity: str | None = None) -> list[str]:
    return [f.code for f in evaluation.findings if severity in (None, f.severity)]


def test_bias_and_scatter_against_numpy(material):
    evaluation = material(TWO)
    found = [100 * (3.012 - 2.542) / 3.012, 100 * (3.006 - 2.535) / 3.006]
    bias, scatter = evaluation.criteria
    assert float(bias.value) == pytest.approx(np.mean(found) - 15.66, rel=1e-12)
    assert float(scatter.value) == pytest.approx(np.std(found, ddof=1), rel=1e-12)
    assert float(evaluation.results["recovery"]) == pytest.approx(100 * np.mean(found) / 15.66)
    runs = evaluation.results["runs"]
    assert [float(r["loss"]) for r in runs] == pytest.approx(found, rel=1e-14)
    assert [r["evaluated_from"] for r in runs] == ["masses", "masses"]


def test_dry_basis(material):
    # 2 g lost, 8 g left: 25 % of what is left.
    evaluation = material(weighed(("10", "8")), stated_loss=D(25), basis="dry")
    assert evaluation.criteria[0].value == 0
    # 100/8 to the mass before, -100·10/8² to that after, and the sum to the zero of both.
    rows = {row.source: row for row in evaluation.criteria[0].budget}
    loads = rows["digitisation of loaded readings"].sensitivity
    assert loads == pytest.approx(sqrt(12.5**2 + 15.625**2))
    assert rows["digitisation of zero readings"].sensitivity == pytest.approx(3.125)


def test_the_budget_of_the_bias(material):
    """By hand: u² = 0.02² + s²/2 + Σ(c₀² + c₁² + (c₀ + c₁)²)·d²/12/4, with numpy's s."""
    evaluation = material(TWO)
    found = [100 * (3.012 - 2.542) / 3.012, 100 * (3.006 - 2.535) / 3.006]
    c = [(100 * 2.542 / 3.012**2, -100 / 3.012), (100 * 2.535 / 3.006**2, -100 / 3.006)]
    rounding = sum(a**2 + b**2 + (a + b) ** 2 for a, b in c) * 0.001**2 / 12 / 4
    scatter = np.var(found, ddof=1) / 2
    u2 = 0.02**2 + scatter + rounding
    bias = evaluation.criteria[0]
    assert bias.standard_uncertainty == pytest.approx(sqrt(u2), rel=1e-9)
    assert bias.degrees_of_freedom == pytest.approx(u2**2 / scatter**2, rel=1e-9)
    zeta = evaluation.results["zeta_score"]
    assert zeta == pytest.approx((np.mean(found) - 15.66) / sqrt(u2), rel=1e-9)


def test_a_value_on_the_limit_is_inside(material):
    # Mean 15.59, off by 0.07; s = √(0.002/3) has no end, that of 15.58 and 15.62 does not either.
    assert material(FOUR, {"bias": "0.07 %"}).verdict == "pass"
    assert material(FOUR, {"bias": "0.0699 %"}).verdict == "fail"
    # 15.57, 15.60, 15.63: s = 0.03 exactly.
    three = shown("15.57", "15.60", "15.63")
    assert material(three, {"scatter": {"upper": "0.03 %"}}).verdict == "pass"
    assert material(three, {"scatter": {"upper": "0.0299 %"}}).verdict == "fail"


def test_scatter_with_its_interval_against_scipy(material):
    evaluation = material(FOUR)
    s = np.std([15.56, 15.60, 15.58, 15.62], ddof=1)
    told = evaluation.results["standard_deviation"]
    assert told["lower"] == pytest.approx(s * sqrt(3 / stats.chi2.ppf(0.975, 3)), rel=1e-9)
    assert told["upper"] == pytest.approx(s * sqrt(3 / stats.chi2.ppf(0.025, 3)), rel=1e-9)
    # c₄ of four by its gamma functions; the display rounds each loss to 0.01 %.
    c4 = sqrt(2 / 3) * gamma(2) / gamma(1.5)
    u = sqrt((s * sqrt(1 / c4**2 - 1)) ** 2 + 0.01**2 / 12)
    assert evaluation.criteria[1].standard_uncertainty == pytest.approx(u, rel=1e-9)


def test_losses_that_are_all_equal_have_an_uncertain_scatter(material):
    scatter = material(shown("15.66", "15.66", "15.66"), LIMITS).criteria[1]
    assert (scatter.value, scatter.verdict) == (0, "pass")
    assert scatter.standard_uncertainty == pytest.approx(0.01 / sqrt(12))


def test_displayed_losses_do_not_average_their_rounding_out(material):
    (row,) = [r for r in material(FOUR).criteria[0].budget if r.source.startswith("digit")]
    assert row.contribution == pytest.approx(0.01 / sqrt(12))
    cut = {"loss_interval": "0.01", "loss_rounding": "down"}
    (row,) = [
        r for r in material(FOUR, balance=cut).criteria[0].budget if r.source.startswith("digit")
    ]
    assert row.contribution == pytest.approx(0.01 / sqrt(3))


def test_earlier_runs_are_pooled(material):
    # s² of four: 0.002/3, ν 3; earlier 0.03², ν 9: (0.002 + 9·0.0009)/12 = 0.0101/12.
    evaluation = material(FOUR, spread=EarlierSpread(D("0.03"), 10))
    rows = {row.source: row for row in evaluation.criteria[0].budget}
    scatter = rows["scatter between runs"]
    assert scatter.contribution == pytest.approx(sqrt(0.0101 / 12 / 4))
    assert scatter.degrees_of_freedom == 12
    assert "earlier-scatter-pooled" in codes(evaluation, "note")
    # The criterion is of these runs alone.
    assert float(evaluation.criteria[1].value) == pytest.approx(sqrt(0.002 / 3))


def test_one_run(material):
    evaluation = material(weighed(("3", "2.53")), LIMITS, balance={"repeatability": "0.001"})
    assert evaluation.verdict == "void"
    assert {"criterion-missing", "scatter-not-known"} <= set(codes(evaluation))
    rows = {row.source: row for row in evaluation.criteria[0].budget}
    # s·√(c₀² + c₁²), c₀ = 100·2.53/9, c₁ = -100/3
    expected = 0.001 * sqrt((253 / 9) ** 2 + (100 / 3) ** 2)
    assert rows["repeatability"].contribution == pytest.approx(expected)
    known = material(weighed(("3", "2.53")), spread=EarlierSpread(D("0.03"), 10))
    assert "scatter-not-known" not in codes(known)
    assert known.results["standard_deviation"] is None


@pytest.mark.parametrize(
    ("stated", "u", "code"),
    [
        ({"expanded_uncertainty": D("0.06"), "coverage_factor": D(3)}, 0.02, None),
        ({"expanded_uncertainty": D("0.06")}, 0.03, "coverage-factor-assumed"),
        ({}, None, "material-uncertainty-not-stated"),
    ],
)
def test_what_is_stated_of_the_material(material, stated, u, code):
    evaluation = material(FOUR, **{"standard_uncertainty": None, **stated})
    rows = {row.source: row for row in evaluation.criteria[0].budget}
    row = rows.get("stated loss of the material")
    assert (row and row.contribution) == (u if u is None else pytest.approx(u))
    told = {"coverage-factor-assumed", "material-uncertainty-not-stated"} & set(codes(evaluation))
    assert told == ({code} if code else set())


def test_a_material_past_its_day_is_void(material):
    last = date(2026, 3, 16)
    assert material(FOUR, LIMITS, due_on=last).verdict == "pass"
    over = material(FOUR, LIMITS, due_on=date(2026, 3, 15))
    assert (over.verdict, over.verdict_if_valid) == ("void", "pass")
    assert "material-overdue" in codes(over, "void")
    # Where the check was done it was the 17th already.
    east = AT.astimezone(timezone(timedelta(hours=10)))
    assert material(FOUR, LIMITS, due_on=last, performed_at=east).verdict == "void"
    warned = Validity(weights_in_date="warning")
    lenient = material(FOUR, LIMITS, due_on=date(2026, 3, 15), validity=warned)
    assert lenient.verdict == "pass"
    assert "opened-after-check" in codes(material(FOUR, opened_on=date(2026, 3, 17)), "warning")


def test_dates_that_are_not_stated(material):
    assert "not-stated" in codes(material(FOUR), "note")
    assert material(FOUR, LIMITS, validity=Validity(weights_in_date="void")).verdict == "void"
    timeless = material(FOUR, due_on=date(2026, 3, 15), performed_at=None)
    assert "not-stated" in codes(timeless, "note")
    assert "material-overdue" not in codes(timeless)


def test_a_bias_that_its_uncertainty_does_not_explain(material):
    # 0.07 beside U = 0.050 (derived on the page of the check).
    evaluation = material(FOUR, LIMITS)
    assert evaluation.results["bias_to_uncertainty"] == Fraction(7, 5)
    (finding,) = [f for f in evaluation.findings if f.code == "bias-significant"]
    assert finding.message.startswith("less is lost than stated")
    more = material(shown("15.90", "15.92", "15.91"))
    (finding,) = [f for f in more.findings if f.code == "bias-significant"]
    assert finding.message.startswith("more is lost than stated")
    assert "bias-significant" not in codes(material(shown("15.66", "15.67", "15.65")))


def test_too_few_runs_forbid_a_pass_and_hide_no_fail(material):
    five = Validity(runs=AtLeast(D(5), "no-pass"))
    few = material(FOUR, LIMITS, validity=five)
    assert (few.verdict, few.verdict_if_valid) == ("void", "pass")
    off = material(shown("14.00", "14.02"), LIMITS, validity=five)
    assert off.verdict == "fail"


def test_remarks_on_readings(material):
    both = (MaterialRun(D(3), D("2.53"), D("15.70")), *TWO)
    assert "displayed-not-used" in codes(material(both), "note")
    odd = shown("15.655", "15.66")
    assert "displayed-off-loss-interval" in codes(material(odd), "warning")
    assert "indication-off-scale-interval" in codes(material(weighed(("3.0005", "2.5"))))
    assert "loss-negative" in codes(material(weighed(("3", "3.1"))), "warning")
    over = material(TWO, LIMITS, balance={"capacity": "3"})
    assert "overload" in codes(over, "void")
    unstable = material((MaterialRun(displayed_loss=D("15.6"), stable=False), *FOUR), LIMITS)
    assert unstable.verdict == "void"
    heat = {"loss_interval": "0.01", "hot_zero_drift": "0.002"}
    assert "heat-in-bias" in codes(material(FOUR, balance=heat), "note")


def test_what_it_shows_and_cannot_see(material):
    lines = {line["fault"]: line for line in material(FOUR, LIMITS).results["reveals"]}
    # 0.2 + t(0.95, ν)·u of scatter and display alone, as the stated loss stays what it is.
    u2 = 0.002 / 3 / 4 + 0.01**2 / 12
    nu = u2**2 / ((0.002 / 12) ** 2 / 3)
    expected = 0.2 + stats.t.ppf(0.95, nu) * sqrt(u2)
    assert lines["process"]["smallest"] == pytest.approx(expected, rel=1e-9)
    assert [f for f, line in lines.items() if line["smallest"] is None] == [
        "which-part",
        "span",
        "compensation",
        "other-losses",
    ]
    nothing = material(FOUR, LIMITS, decision=Decision("guarded", D(9))).results["reveals"]
    assert nothing[0]["smallest"] is None
    one_sided = material(FOUR, {"bias": {"lower": "-0.2 %"}}).results["reveals"][0]
    assert "where less is lost, and never where more is" in one_sided["message"]


@pytest.mark.parametrize(
    ("stated", "more", "path", "code"),
    [
        (
            {"standard_uncertainty": D(1), "expanded_uncertainty": D(2)},
            {},
            ("material", "standard_uncertainty"),
            "uncertainty-twice",
        ),
        ({"coverage_factor": D(2)}, {}, ("material", "coverage_factor"), "nothing-to-cover"),
        (
            {"opened_on": date(2026, 3, 2), "due_on": date(2026, 3, 1)},
            {},
            ("material", "due_on"),
            "date-order",
        ),
        ({"stated_loss": D(100)}, {}, ("material", "stated_loss"), "out-of-range"),
        ({}, {"runs": (MaterialRun(D(3)),)}, ("runs", 0, "final_mass"), "required"),
        ({}, {"runs": (MaterialRun(),)}, ("runs", 0, "initial_mass"), "required"),
        (
            {},
            {"runs": weighed(("3", "0")), "basis": "dry"},
            ("runs", 0, "final_mass"),
            "out-of-range",
        ),
    ],
)
def test_what_makes_no_sense_is_refused(make, stated, more, path, code):
    here = make.circumstances([], make.balance(loss_interval="0.01"))
    with pytest.raises(SenseError) as refused:
        ReferenceMaterialCheck(
            here, Material(**{"stated_loss": D(15), **stated}), **{"runs": TWO, **more}
        )
    assert (path, code) in [(flaw.path, flaw.code) for flaw in refused.value.flaws]


def test_a_displayed_loss_needs_the_step_of_the_display(make):
    here = make.circumstances([], make.balance())
    with pytest.raises(SenseError, match="instrument/loss_interval"):
        ReferenceMaterialCheck(here, Material(D(15)), FOUR)


def test_a_limit_in_steps_says_that_no_load_is_known(material: Any) -> None:
    """Displayed losses have no mass that steps could be referred to; no field would mend that."""
    judged = material(shown("15.60", "15.62"), {"bias": "5 d"})
    (found,) = [f for f in judged.findings if f.code == "not-stated" and f.severity == "no-pass"]
    assert found.field == "/runs"
    assert "refers to a load" in found.message


def test_equal_losses_are_no_proof_that_nothing_scatters(material: Any) -> None:
    equal = material(shown("15.66", "15.66", "15.66"), LIMITS)
    assert "scatter-not-seen" in codes(equal, "warning")
    assert "scatter-not-seen" not in codes(material(FOUR, LIMITS))
    assert "scatter-not-seen" not in codes(material(shown("15.66"), {"bias": "0.2 %"}))
