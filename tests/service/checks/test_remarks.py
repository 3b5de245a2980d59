import pytest

from weighworthy_service.checks.remarks import input_remarks


def told(findings):
    return [(f.code, f.severity, f.field) for f in findings]


@pytest.fixture
def remarks(make):
    def of(weight=None, balance=None, *, built_up=False, buoyancy=True):
        weight = weight or make.weight("A", "20")
        here = make.circumstances([weight], balance or make.balance(repeatability="0.001"))
        return told(input_remarks(here, [weight.name], built_up=built_up, buoyancy=buoyancy))

    return of


def test_nothing_to_remark(remarks):
    assert remarks() == []


def test_absent_or_zero_repeatability_leaves_a_lower_bound(remarks, make):
    field = "/instrument/repeatability"
    assert remarks(balance=make.balance()) == [("repeatability-not-stated", "warning", field)]
    zero = make.balance(repeatability="0.000")
    assert remarks(balance=zero) == [("repeatability-zero", "warning", field)]


def test_built_up_loads_without_eccentricity(remarks):
    note = ("eccentricity-not-stated", "note", "/instrument/eccentricity")
    assert remarks(built_up=True) == [note]


DRIFT = ("weight-drift-not-included", "note", "/weights/A/drift")
FACTOR = ("coverage-factor-assumed", "note", "/weights/A/coverage_factor")
DENSITY = ("buoyancy-assumed-density", "note", "/weights/A/density")


@pytest.mark.parametrize(
    ("more", "found"),
    [
        ({}, [DRIFT, DENSITY]),
        ({"drift": "0.0001"}, [DENSITY]),
        ({"drift": "0"}, [DENSITY]),
        ({"drift": "0", "coverage_factor": None}, [FACTOR, DENSITY]),
        ({"drift": "0", "density": "8000"}, []),
        ({"drift": "0", "weight_class": "OIML F1"}, []),
    ],
)
def test_what_a_certificate_leaves_open(remarks, make, more, found):
    assert remarks(make.certified("A", "20", "20", "0.0001", **more)) == found


def test_density_matters_only_where_buoyancy_does(remarks, make):
    weight = make.certified("A", "20", "20", "0.0001", drift="0")
    assert remarks(weight, buoyancy=False) == []


def test_a_class_limit_covers_drift(remarks, make):
    assert remarks(make.weight("A", "20", "OIML F2")) == []
