import pytest

from weighworthy_service.checks.flaws import SenseError


@pytest.fixture
def flaws(make):
    def of(*points):
        try:
            make.linearity(points, [make.weight("A", "20")])
        except SenseError as error:
            return [("/".join(map(str, f.path)), f.code) for f in error.flaws]
        return []

    return of


def test_the_first_point_needs_its_zero(flaws, make):
    assert flaws(make.point("A", "20", "0"), make.point("A", "20")) == []
    assert flaws(make.point("A", "20"), make.point("A", "20", "0")) == [
        ("points/0/zero", "required")
    ]


def test_weights_must_be_declared_once_on_the_pan(flaws, make):
    assert flaws(make.point("A A", "40", "0"), make.point("B", "20")) == [
        ("points/0/load", "weight-twice"),
        ("points/1/load/0", "weight-not-declared"),
    ]
