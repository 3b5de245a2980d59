import pytest

from weighworthy_service.checks.flaws import SenseError


def codes(refused) -> list[str]:
    return [flaw.code for flaw in refused.value.flaws]


def test_the_centre_is_needed(check):
    with pytest.raises(SenseError) as refused:
        check(("front", 0, 0), ("left", 0, 0), ("back", 0, 0))
    assert codes(refused) == ["centre-missing"]
    assert refused.value.flaws[0].path == ("placings",)


@pytest.mark.parametrize("word", ["centre", "Center", "CENTRE"])
def test_a_place_off_it_is_needed(check, word):
    with pytest.raises(SenseError) as refused:
        check((word, 0, 0), ("centre", 0, 0), (word, 0, 0))
    assert codes(refused) == ["nothing-off-centre"]


def test_a_weight_needs_no_value(make, check):
    weights = [make.weight("W20", "20", None)]
    assert check(("centre", 0, 0), ("a", 0, 0), weights=weights).load == ("W20",)
