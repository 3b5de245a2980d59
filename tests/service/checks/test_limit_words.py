from decimal import Decimal, localcontext

import pytest

from weighworthy_service.checks.limit_words import amount_text, limits_text


@pytest.mark.parametrize(
    ("lower", "upper", "unit", "said"),
    [
        ("-0.002", "0.002", "g", "within 2 mg"),
        ("-0.001", "0.002", "g", "from -1 mg to +2 mg"),
        ("0.01", "0.02", "g", "from +10 mg to +20 mg"),
        ("-0.0005", "0", "g", "from -0.5 mg to 0 g"),
        ("-0.2", "0.2", "g", "within 0.2 g"),
        ("-0.04", "0.05", "%", "from -0.04 % to +0.05 %"),
        (None, "0.002", "g", "at most +2 mg"),
        ("-0.002", None, "g", "at least -2 mg"),
        (None, None, "g", "without limit"),
    ],
)
def test_limits_as_people_say_them(
    lower: str | None, upper: str | None, unit: str, said: str
) -> None:
    ends = [None if end is None else Decimal(end) for end in (lower, upper)]
    with localcontext() as context:
        context.prec = 1  # a calling script's own
        assert limits_text(ends[0], ends[1], unit) == said


def test_amounts() -> None:
    assert amount_text(Decimal("0.00165"), "g") == "1.65 mg"
    assert amount_text(Decimal("20.0"), "g") == "20 g"
    assert amount_text(Decimal("0.016"), "%") == "0.016 %"
