import pytest

from weighworthy_service.checks.flaws import SenseError
from weighworthy_service.checks.span.check import Round


@pytest.fixture
def flaws(make):
    def of(*rounds):
        try:
            make.span(rounds, [make.weight("A", "20")])
        except SenseError as error:
            return [("/".join(map(str, f.path)), f.code) for f in error.flaws]
        return []

    return of


def test_a_judged_round_needs_load_zero_and_indication(flaws):
    assert flaws(Round(), Round(stage="as-left", load=("A",))) == [
        ("rounds/0/load", "required"),
        ("rounds/0/zero", "required"),
        ("rounds/0/indication", "required"),
        ("rounds/1/zero", "required"),
        ("rounds/1/indication", "required"),
    ]


def test_an_adjustment_needs_no_readings_and_may_have_some(flaws, make):
    found, left = make.round("A", "0", "20"), make.round("A", "0", "20", stage="as-left")
    kept = make.round("A", "0", "19", stage="adjustment")
    assert flaws(found, make.adjustment, left) == []
    assert flaws(found, kept, left) == []


def test_after_an_adjustment_nothing_is_as_found(flaws, make):
    found = make.round("A", "0", "20")
    assert flaws(found, make.adjustment, found) == [("rounds/2/stage", "stage-order")]


def test_before_an_adjustment_nothing_is_as_left(flaws, make):
    left = make.round("A", "0", "20", stage="as-left")
    assert flaws(left, make.adjustment, left) == [("rounds/0/stage", "stage-order")]
    assert flaws(make.adjustment, left, make.adjustment, left) == []


def test_adjustments_alone_check_nothing(flaws, make):
    assert flaws(make.adjustment) == [("rounds", "nothing-read")]


def test_weights_must_be_declared_once_on_the_pan(flaws, make):
    assert flaws(make.round("A A", "0", "40"), make.round("B", "0", "20")) == [
        ("rounds/0/load", "weight-twice"),
        ("rounds/1/load/0", "weight-not-declared"),
    ]
