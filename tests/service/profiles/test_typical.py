from decimal import Decimal
from typing import Any

import pytest

from weighworthy_service.checks.outcome import CriterionName
from weighworthy_service.metrology.instrument import Instrument
from weighworthy_service.profiles.limit_forms import to_limit
from weighworthy_service.profiles.typical import depends_on_load, typical_loads
from weighworthy_service.wire.profile import LimitForm

MASS = CriterionName("point_error", "g", has_load=True)
LOSS = CriterionName("loss_error", "%")
SMALL = Instrument(Decimal("0.001"))
LARGE = Instrument(Decimal("0.001"), capacity=Decimal(60))
SHARE = {"within": "0.01 % of load"}


def loads(form: dict[str, Any], instrument: Instrument, **more: Any) -> list[Any]:
    criterion = more.get("criterion", MASS)
    limits = [to_limit(LimitForm().load(form)), None]
    found = typical_loads(limits, criterion, instrument, more.get("windows", ()))
    return [None if load is None else float(load) for load in found]


@pytest.mark.parametrize(
    ("form", "criterion", "expected"),
    [
        ({"within": "2 mg"}, MASS, False),
        ({"within": "2 d"}, MASS, False),
        ({"within": "0.01 % of capacity"}, MASS, False),
        (SHARE, MASS, True),
        ({"larger_of": [SHARE, {"within": "2 d"}]}, MASS, True),
        ({"bands": [{"up_to": "20 g", "within": "2 mg"}]}, MASS, True),
        ({"within": "0.04 %"}, LOSS, False),
        ({"within": "2 d"}, LOSS, True),
    ],
)
def test_what_depends_on_the_load(form, criterion, expected) -> None:
    assert depends_on_load(to_limit(LimitForm().load(form)), criterion) is expected


def test_shares_of_the_capacity_or_counts_of_d() -> None:
    # 5, 20, 50 and 100 % of 60 g; 1,000, 10,000 and 50,000 times 1 mg.
    assert loads(SHARE, LARGE) == [3, 12, 30, 60]
    assert loads(SHARE, SMALL) == [1, 10, 50]
    assert loads({"within": "2 mg"}, LARGE) == [None]


def test_ends_of_bands_within_the_capacity() -> None:
    # 15,000 d are 15 g, 40 % of 60 g are 24 g; 80 g cannot be weighed, and e is not stated.
    ends = ("15000 d", "40 % of capacity", "80 g", "90000 e")
    bands = {"bands": [{"up_to": end, "within": "2 mg"} for end in ends]}
    assert loads(bands, LARGE) == [3, 12, 15, 24, 30, 60]


def test_start_windows_of_a_loss() -> None:
    windows = (Decimal(12), None, Decimal(10))
    assert loads({"within": "2 d"}, LARGE, criterion=LOSS, windows=windows) == [10, 12]
