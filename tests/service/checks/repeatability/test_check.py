import pytest

from weighworthy_service.checks.flaws import SenseError


def test_a_weight_needs_neither_class_nor_certificate(make, check):
    assert check([0, 1], weights=[make.weight("W20", "20", None)]).load == ("W20",)


def test_other_flaws_of_a_weight_count(make, check):
    half = make.weight("W20", "20", None, conventional_mass="20.0001")
    with pytest.raises(SenseError) as refused:
        check([0, 1], weights=[half])
    assert [(f.path, f.code) for f in refused.value.flaws] == [
        (("weights", "W20", "expanded_uncertainty"), "certificate-incomplete")
    ]


def test_the_load_is_of_declared_weights(make, check):
    good = check([0, 1])
    with pytest.raises(SenseError) as refused:
        type(good)(good.circumstances, ("W20", "X", "W20"), good.placings)
    assert {(f.path, f.code) for f in refused.value.flaws} == {
        (("load", 1), "weight-not-declared"),
        (("load",), "weight-twice"),
    }
