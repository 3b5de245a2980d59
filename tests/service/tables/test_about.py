import re
from importlib.resources import files

from weighworthy_service.tables.mapping_reading import parse_mapping

_TEXT = (files("weighworthy_service.tables") / "about.md").read_text("utf-8")
WHOLE, KINDS, GATHERED = re.findall(r"^```toml\n(.*?)^```", _TEXT, re.DOTALL | re.MULTILINE)
_LINEARITY = """
check = "linearity"
time_zone = "UTC"
[constants]
instrument.scale_interval = "1 mg"
weights.W0 = { nominal = "5 g", weight_class = "OIML F1" }
weights.W10 = { nominal = "10 g", weight_class = "OIML F1" }
weights.W11 = { nominal = "10 g", weight_class = "OIML F1" }
"""


def test_the_whole_example_is_a_mapping():
    mapping = parse_mapping(WHOLE.encode())
    assert mapping.id == "harbour-export"
    assert mapping.gather is None


def test_the_gathered_example_is_a_mapping_once_kind_and_weights_are_stated():
    mapping = parse_mapping((_LINEARITY + GATHERED).encode())
    assert mapping.gather is not None
    assert (mapping.gather.within, mapping.gather.complete) == (500, 11)


def test_the_example_of_several_kinds_names_kinds_that_there_are():
    span = '[columns]\n"rounds.0.load" = "Span on"\n"rounds.0.indication" = "Reading [g]"\n'
    text = WHOLE.replace('check = "simulated-loss"\n', KINDS).replace("[columns]\n", span)
    mapping = parse_mapping(text.encode())
    assert [kind.slug for kind in mapping.kinds] == ["span", "simulated-loss"]
