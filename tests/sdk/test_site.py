from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from weighworthy.site import Site, load_site, merged

# Invented organisation.
HARBOUR = """
profile = "general@1"
time_zone = "Europe/Lisbon"

[weights.W20]
nominal = "20 g"
weight_class = "OIML F1"
due_on = 2027-03-01

[weights.W10]
nominal = "10 g"
weight_class = "OIML F1"

[instruments.MA-07]
model = "invented"
scale_interval = "0.001 g"
repeatability_observations = 10
"""


@pytest.fixture
def harbour(tmp_path: Path) -> Path:
    path = tmp_path / "harbour.toml"
    path.write_text(HARBOUR, encoding="utf-8")
    return path


def test_a_site_file_is_read(harbour: Path) -> None:
    site = load_site(harbour)
    assert site.weights["W20"] == {
        "nominal": "20 g",
        "weight_class": "OIML F1",
        "due_on": "2027-03-01",
    }
    assert site.instruments["MA-07"]["id"] == "MA-07"
    assert site.instruments["MA-07"]["repeatability_observations"] == 10
    assert site.profile == "general@1"
    assert site.time_zone == "Europe/Lisbon"


def test_a_byte_order_mark_does_no_harm(tmp_path: Path) -> None:
    path = tmp_path / "site.toml"
    path.write_bytes(b"\xef\xbb\xbf" + HARBOUR.encode())
    assert load_site(str(path)) == load_site(path) != Site()


def test_a_mapping_is_the_same_as_a_file(harbour: Path) -> None:
    site = load_site(
        {
            "weights": {
                "W20": {
                    "nominal": "20 g",
                    "weight_class": "OIML F1",
                    "due_on": date(2027, 3, 1),
                },
                "W10": {"nominal": "10 g", "weight_class": "OIML F1"},
            },
            "instruments": {
                "MA-07": {
                    "model": "invented",
                    "scale_interval": "0.001 g",
                    "repeatability_observations": 10,
                }
            },
            "profile": "general@1",
            "time_zone": "Europe/Lisbon",
        }
    )
    assert site == load_site(harbour)


@pytest.mark.parametrize(
    ("defaults", "error", "words"),
    [
        ({"weigths": {}, "color": 1}, ValueError, "color, weigths"),
        ({"weights": {"A": {"nominal": 20}}}, TypeError, "weights.A.nominal"),
        ({"weights": {"A": {"nominal": Decimal("20.0")}}}, TypeError, 'q(12.003, "g")'),
        ({"weights": {"A": "20 g"}}, ValueError, "table of tables"),
        ({"instruments": ["MA-07"]}, ValueError, "table of tables"),
        ({"profile": ["general"]}, ValueError, "profile"),
        ({"time_zone": {}}, ValueError, "time_zone"),
    ],
)
def test_faults_of_a_site_show_at_once(
    defaults: dict[str, Any], error: type[Exception], words: str
) -> None:
    with pytest.raises(error) as caught:
        load_site(defaults)
    assert words in str(caught.value)


def test_a_number_without_unit_in_toml(tmp_path: Path) -> None:
    path = tmp_path / "site.toml"
    path.write_text('[instruments."MA-07"]\nscale_interval = 0.001\n', encoding="utf-8")
    with pytest.raises(TypeError, match=r'instruments\.MA-07\.scale_interval: .*q\(12\.003, "g"\)'):
        load_site(path)


def test_broken_toml_names_the_file(tmp_path: Path) -> None:
    path = tmp_path / "site.toml"
    path.write_text("weights = [", encoding="utf-8")
    with pytest.raises(ValueError, match=r"^site\.toml: "):
        load_site(path)


def test_a_missing_file_is_an_os_error(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError):
        load_site(tmp_path / "none.toml")


def test_only_the_weights_named_in_loads_are_added(harbour: Path) -> None:
    request = {"instrument": "MA-07", "rounds": [{"load": ["W20"], "indication": "20.000 g"}]}
    complete = merged(request, load_site(harbour))
    assert list(complete["weights"]) == ["W20"]
    assert complete["instrument"]["id"] == "MA-07"
    assert complete["profile"] == "general@1"
    assert "time_zone" not in complete
    assert request["instrument"] == "MA-07", "the caller's request is left alone"


def test_loads_are_found_wherever_a_check_has_them(harbour: Path) -> None:
    request = {
        "initial": {"load": ["W20", "W10"]},
        "final": {"load": ["W10"]},
        "labels": {"load": ["W99"]},
    }
    assert sorted(merged(request, load_site(harbour))["weights"]) == ["W10", "W20"]


def test_what_the_request_has_wins_whole(harbour: Path) -> None:
    request = {
        "profile": "other",
        "instrument": {"scale_interval": "0.01 g"},
        "weights": {"W20": {"nominal": "20 g"}, "W10": None},
        "points": [{"load": ["W20"]}, {"load": ["W10", "unknown"]}],
    }
    complete = merged(request, load_site(harbour))
    assert complete["profile"] == "other"
    assert complete["instrument"] == {"scale_interval": "0.01 g"}
    assert complete["weights"]["W20"] == {"nominal": "20 g"}
    assert complete["weights"]["W10"] == {"nominal": "10 g", "weight_class": "OIML F1"}
    assert "unknown" not in complete["weights"]


def test_null_is_the_same_as_leaving_out(harbour: Path) -> None:
    complete = merged({"profile": None, "method": None, "weights": None}, load_site(harbour))
    assert complete == {"profile": "general@1"}


def test_an_unknown_instrument_lists_the_known_ones(harbour: Path) -> None:
    with pytest.raises(ValueError, match=r"'MA-08' .*\(MA-07\)"):
        merged({"instrument": "MA-08"}, load_site(harbour))
    with pytest.raises(ValueError, match=r"\(none\)"):
        merged({"instrument": "MA-08"}, Site())
