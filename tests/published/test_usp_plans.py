"""USP <41> and <1251> as they show in plans: which class of weights their limits ask for.

<41> (secondary text): deviation at most 0.10 % of the test weight, whose own error is at most a
third of that. <1251> (from memory): 0.05 % is customary for sensitivity and linearity. Class limits
of 50 g: OIML R 111-1:2004, Table 1: M1 3 mg, M2 10 mg, M3 30 mg.
"""

import pytest

from weighworthy_service.web.app import create_app

BALANCE = {"scale_interval": "1 mg", "repeatability": "0.6 mg", "capacity": "60 g"}


@pytest.fixture(scope="module")
def planned():
    client = create_app().test_client()

    def post(within: str):
        body = {
            "instrument": BALANCE,
            "weights": {"W50": {"nominal": "50 g", "weight_class": "OIML M3"}},
            "loads": {"span": [["W50"]]},
            "wanted": {"span": within},
        }
        answer = client.post("/v1/plans/tolerance", json=body)
        assert answer.status_code == 200, answer.text
        return answer.json["tolerances"][0]

    return post


@pytest.mark.parametrize(
    ("within", "weight_class"),
    [
        # 0.10 % of 50 g. A third is 16.7 mg: M2 has 10 mg, M3 30 mg.
        ("50 mg", "OIML M2"),
        # 0.05 %. A third is 8.3 mg: M1 has 3 mg, M2 10 mg.
        ("25 mg", "OIML M1"),
    ],
)
def test_class_of_the_test_weight(planned, within, weight_class) -> None:
    row = planned(within)
    assert row["buy"] == weight_class
    assert row["wanted_is_honest"] is False
    floors = {floor["condition"]: floor["least"] for floor in row["floors"]}
    # What is owned, M3, asks for three times its 30 mg.
    assert floors["weights"] == pytest.approx(0.090)


def test_a_third_exactly_is_enough(planned) -> None:
    """The end is inside: M2 with 30 mg, of which 10 mg are a third.

    U of M2: u² = 2/12 + 0.36 + 10²/3 + ((10/4 + 0.75)/√3)² = 37.38 mg², U = 12.23 -> 13 mg, and
    three times that is 39 mg: so it is the uncertainty that asks for more.
    """
    row = planned("39 mg")
    assert row["buy"] == "OIML M2"
    assert planned("38 mg")["buy"] == "OIML M1"
