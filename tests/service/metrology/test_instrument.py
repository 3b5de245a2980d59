from decimal import Decimal

import pytest

from weighworthy_service.metrology.instrument import Instrument


@pytest.mark.parametrize(
    ("stated", "fields"),
    [
        ({}, []),
        ({"verification_interval": "0.001", "capacity": "60", "repeatability": "0.0006"}, []),
        ({"verification_interval": "0.0009"}, ["verification_interval"]),
        ({"capacity": "0.001"}, ["scale_interval"]),
        ({"capacity": "60", "repeatability": "60"}, ["repeatability"]),
        # Without a capacity there is nothing to hold it against.
        ({"repeatability": "60"}, []),
    ],
)
def test_what_no_balance_can_be(stated, fields):
    balance = Instrument(Decimal("0.001"), **{k: Decimal(v) for k, v in stated.items()})
    assert [(field, code) for field, code, _ in balance.flaws()] == [
        (field, "out-of-range") for field in fields
    ]
