from datetime import date
from decimal import Decimal
from fractions import Fraction
from math import sqrt

import pytest

from weighworthy_service.metrology.weights import ReferenceWeight, class_limits, weight_classes


def weight(nominal="20", weight_class=None, mass=None, expanded=None, **more):
    def exact(value):
        return None if value is None else Decimal(value)

    return ReferenceWeight(
        "W",
        Decimal(nominal),
        weight_class,
        exact(mass),
        exact(expanded),
        **{name: exact(value) for name, value in more.items()},
    )


@pytest.mark.parametrize(
    ("weight_class", "nominal", "mpe_mg"),
    [  # OIML R 111-1:2004, Table 1; ASTM E617 from memory
        ("OIML E1", "0.001", "0.003"),
        ("OIML E2", "200", "0.3"),
        ("OIML F1", "50", "0.3"),
        ("OIML F2", "20.000", "0.8"),
        ("OIML M1", "1000", "50"),
        ("ASTM 0", "30", "0.037"),
        ("ASTM 1", "300", "0.75"),
        ("ASTM 4", "20", "0.70"),
    ],
)
def test_class_limits(weight_class, nominal, mpe_mg):
    assert weight(nominal, weight_class).class_limit == Decimal(mpe_mg) / 1000


def test_r111_has_only_1_2_5_denominations():
    nominals = {nominal for name, nominal in class_limits() if name.startswith("OIML")}
    assert {str(n.normalize()).lstrip("0.")[0] for n in nominals} == {"1", "2", "5"}


def test_every_class_is_offered_once():
    assert weight_classes() == (
        *(f"OIML {c}" for c in ("E1", "E2", "F1", "F2", "M1", "M2", "M3")),
        *(f"ASTM {c}" for c in ("0", "1", "2", "3", "4")),
    )


def test_a_coarser_class_has_a_larger_limit():
    order = {name: i for i, name in enumerate(weight_classes())}
    by_nominal: dict = {}
    for (name, nominal), mpe in class_limits().items():
        by_nominal.setdefault((name[:4], nominal), []).append((order[name], mpe))
    for rows in by_nominal.values():
        limits = [mpe for _, mpe in sorted(rows)]
        assert limits == sorted(set(limits)), "each class strictly wider than the one before"


def test_a_certificate_value_has_u_over_k():
    w = weight(mass="20.000031", expanded="0.00012", coverage_factor="2.4")
    assert w.certified
    assert w.mass == Decimal("20.000031")
    assert w.standard_uncertainty == pytest.approx(0.00005, rel=1e-12)  # 0.00012 / 2.4
    assert w.distribution == "normal"


def test_an_absent_coverage_factor_is_2():
    assert weight(mass="20", expanded="0.00012").standard_uncertainty == pytest.approx(0.00006)


def test_a_certificate_is_used_rather_than_a_class():
    w = weight("20", "OIML F1", mass="20.0001", expanded="0.00008")
    assert w.mass == Decimal("20.0001")
    assert w.standard_uncertainty == pytest.approx(0.00004, rel=1e-12)


def test_a_class_limit_is_rectangular_about_the_nominal_value():
    w = weight("20", "OIML F2")  # mpe 0.8 mg
    assert not w.certified
    assert w.mass == 20
    assert w.standard_uncertainty == pytest.approx(0.0008 / sqrt(3), rel=1e-12)
    assert w.distribution == "rectangular"


@pytest.mark.parametrize(
    ("fields", "own"),
    [
        ({"mass": "20", "expanded": "0.0001"}, 0.00005),
        ({"weight_class": "OIML F2"}, 0.0008 / sqrt(3)),
    ],
    ids=["certificate", "class"],
)
def test_a_stated_drift_adds_linearly(fields, own):
    w = weight(drift="0.0003", **fields)
    assert w.standard_uncertainty == pytest.approx(own + 0.0003 / sqrt(3), rel=1e-12)


def test_for_class_comparison_the_certificate_is_brought_to_k_2():
    w = weight(mass="20", expanded="0.0003", coverage_factor="3")
    assert w.certified_expanded_uncertainty == Fraction(2, 10_000)  # 2 · 0.0003 / 3
    assert w.allowance == Fraction(2, 10_000)


def test_a_class_weight_may_be_off_by_its_limit():
    assert weight("20", "OIML F2").allowance == Fraction(8, 10_000)


@pytest.mark.parametrize(
    ("fields", "flaws"),
    [
        ({"weight_class": "OIML F1"}, []),
        ({"mass": "20", "expanded": "0.0001"}, []),
        ({"mass": "20"}, [("expanded_uncertainty", "certificate-incomplete")]),
        ({"expanded": "0.0001"}, [("conventional_mass", "certificate-incomplete")]),
        (
            {"mass": "20", "weight_class": "OIML F1"},
            [("expanded_uncertainty", "certificate-incomplete")],
        ),
        ({}, [("weight_class", "weight-without-value")]),
        ({"nominal": "30", "weight_class": "OIML F1"}, [("nominal", "no-class-limit")]),
        ({"nominal": "30", "weight_class": "ASTM 1"}, []),
        (
            {"nominal": "30", "weight_class": "OIML F1", "mass": "30", "expanded": "0.0001"},
            [("nominal", "no-class-limit")],
        ),
        # Exactly 10 % off is the edge, and still taken.
        ({"mass": "22", "expanded": "0.0001"}, []),
        # The same edge for an uncertainty: 2 g of 20 g.
        ({"mass": "20", "expanded": "2"}, []),
        (
            {"mass": "20", "expanded": "2.000001"},
            [("expanded_uncertainty", "uncertainty-implausible")],
        ),
        ({"mass": "18", "expanded": "0.0001"}, []),
        (
            {"mass": "22.000001", "expanded": "0.0001"},
            [("conventional_mass", "weight-mass-implausible")],
        ),
        (
            {"mass": "0.020", "expanded": "0.0001"},
            [("conventional_mass", "weight-mass-implausible")],
        ),
        (
            {"mass": "200", "weight_class": "OIML X"},
            [
                ("expanded_uncertainty", "certificate-incomplete"),
                ("nominal", "no-class-limit"),
                ("conventional_mass", "weight-mass-implausible"),
            ],
        ),
    ],
)
def test_what_keeps_a_weight_from_being_used(fields, flaws):
    assert [(field, code) for field, code, _ in weight(**fields).flaws()] == flaws


@pytest.mark.parametrize(
    ("calibrated", "due", "codes"),
    [("2026-03-01", "2026-03-01", []), ("2026-03-02", "2026-03-01", ["date-order"])],
)
def test_no_weight_is_due_before_it_was_calibrated(calibrated, due, codes):
    dated = ReferenceWeight(
        "A",
        Decimal(20),
        "OIML F1",
        calibrated_on=date.fromisoformat(calibrated),
        due_on=date.fromisoformat(due),
    )
    assert [code for _, code, _ in dated.flaws()] == codes
