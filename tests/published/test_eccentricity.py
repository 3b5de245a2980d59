"""Eccentricity held against OIML R 76-1 and EURAMET cg-18.

R 76-1:2006, 3.6.2 (from a national rule that transcribes it): the indications for different places
of a load are within the maximum permissible errors; the load is a third of the capacity. Table 6,
class II, on initial verification: 0.5 e up to 5 000 e, 1 e up to 20 000 e. By analogy only, as R 76
does not cover moisture analysers. cg-18 v4.0, 7.1.1.4 (from memory): the largest difference to the
centre, and |ΔI|/(2·L·√3) of any load for what it brings into an uncertainty.
"""

from math import sqrt
from typing import Any

import pytest

from weighworthy_service.web.app import create_app

TABLE_6 = [{"up_to": "5000 e", "within": "0.5 e"}, {"up_to": "20000 e", "within": "1 e"}]
PROFILE = {
    "id": "table-6",
    "revision": "1",
    "rules": [{"limits": {"position_error": {"bands": TABLE_6}}}],
}


def post(kind: str, request: dict[str, Any]) -> Any:
    response = create_app().test_client().post(f"/v1/checks/{kind}", json=request)
    assert response.status_code == 200, response.get_json()
    return response.get_json()


def placed(load: dict[str, str], *shown: str, capacity: str = "150 g") -> dict[str, Any]:
    positions = ["centre", "front", "left", "back", "right"]
    return {
        "instrument": {
            "scale_interval": "1 mg",
            "verification_interval": "10 mg",
            "capacity": capacity,
        },
        "weights": {
            name: {"nominal": nominal, "weight_class": "OIML E2"} for name, nominal in load.items()
        },
        "load": list(load),
        "placings": [
            {"position": position, "zero": "0 g", "indication": f"{indication} g"}
            for position, indication in zip(positions, shown, strict=True)
        ],
        "profile": PROFILE,
    }


FIFTY = {"E50": "50 g"}
MORE = {"E50": "50 g", "E1": "10 mg"}


@pytest.mark.parametrize(
    ("load", "worst", "verdict"),
    [
        # Class II, e = 10 mg: 50 g are 5 000 e and have 5 mg; 50.01 g have 10 mg.
        (FIFTY, "50.005", "pass"),
        (FIFTY, "50.006", "fail"),
        (FIFTY, "49.994", "fail"),
        (MORE, "50.020", "pass"),
        (MORE, "50.021", "fail"),
    ],
)
def test_each_place_is_within_the_maximum_permissible_error(load, worst, verdict) -> None:
    middle = "50.000" if load is FIFTY else "50.010"
    answer = post("eccentricity", placed(load, middle, middle, middle, worst, middle))
    assert answer["verdict"] == verdict
    (criterion,) = (c for c in answer["criteria"] if c["name"] == "position_error")
    assert criterion["index"] == 3


@pytest.mark.parametrize(("capacity", "far"), [("150 g", False), ("220 g", True)])
def test_a_third_of_the_capacity(capacity: str, far: bool) -> None:
    answer = post("eccentricity", placed(FIFTY, *["50.000"] * 5, capacity=capacity))
    assert ("load-far-from-third" in {f["code"] for f in answer["findings"]}) is far


def test_what_is_declared_enters_other_budgets_as_in_cg_18() -> None:
    """3 mg at 50 g, for a load of 20 g and 10 g: 3/(2·50·√3) of 30 g, 0.5196 mg."""
    found = post("eccentricity", placed(FIFTY, "50.000", "50.001", "49.997", "50.000", "50.002"))
    (criterion, _) = found["criteria"]
    assert (criterion["value"], criterion["index"]) == (-0.003, 2)
    declared = found["results"]["declare"]["instrument"]
    request = {
        "instrument": {"scale_interval": "1 mg", **declared},
        "weights": {
            "E20": {"nominal": "20 g", "weight_class": "OIML E2"},
            "E10": {"nominal": "10 g", "weight_class": "OIML E2"},
        },
        "rounds": [{"load": ["E20", "E10"], "zero": "0 g", "indication": "30.000 g"}],
    }
    span = post("span", request)
    (row,) = (r for r in span["criteria"][0]["budget"] if r["source"] == "built-up loads")
    assert row["contribution"] == pytest.approx(0.003 / (2 * 50 * sqrt(3)) * 30, rel=1e-9)
    assert row["contribution"] * 1000 == pytest.approx(0.5196, abs=0.00005)
