"""Weights out of certificates: values by hand, what is not stated, and files meant to do harm.

The files in `examples/certificates` are of our own making. The published schema could not be had
here, so that none of them was validated against it; element names are from memory.
"""

import hashlib
import json
import tomllib
from decimal import Context, Decimal, Inexact, localcontext
from pathlib import Path

import pytest

from weighworthy import CertificateError, Client, read_certificate
from weighworthy.cli import main
from weighworthy.dcc_values import gram_power, mass_text
from weighworthy.dcc_xml import DEEPEST, MOST_ELEMENTS

EXAMPLES = Path(__file__).parents[2] / "examples" / "certificates"
SET, PAIR = EXAMPLES / "mill_set.xml", EXAMPLES / "mill_pair.xml"


def changed(file, *pairs):
    text = file.read_text("utf-8")
    for before, after in pairs:
        assert before in text, before
        text = text.replace(before, after)
    return text.encode()


def test_a_set_in_lists_with_its_marks():
    """kg as in the file, by three places: 0.010000021 kg = 10.000021 g, 2e-8 kg = 20 µg."""
    found = read_certificate(SET, due_on="2027-02-28")
    common = {
        "coverage_factor": "2",
        "certificate": "FML-2026-0211",
        "calibrated_on": "2026-02-11",
        "due_on": "2027-02-28",
    }
    assert found.weights == {
        "A2": {
            "nominal": "2 g",
            "conventional_mass": "2.000012 g",
            "expanded_uncertainty": "12 ug",
            **common,
        },
        "A10": {
            "nominal": "10 g",
            "conventional_mass": "10.000021 g",
            "expanded_uncertainty": "20 ug",
            **common,
        },
        "A50": {
            "nominal": "50 g",
            "conventional_mass": "49.999940 g",
            "expanded_uncertainty": "30 ug",
            **common,
        },
    }
    assert found.laboratory == "Fennmark Mass Laboratory (invented)"
    assert found.digest == "sha256:" + hashlib.sha256(SET.read_bytes()).hexdigest()
    assert "passed over: Deviation of the conventional mass from the nominal value" in found.notes


def test_two_results_that_name_their_weights():
    """The later form of D-SI: a hybrid, a density, and a standard uncertainty, which is k = 1."""
    found = read_certificate(PAIR, names={"item-500": "B05"})
    assert list(found.weights) == ["FML-8812", "B05"]
    large, small = found.weights.values()
    assert (large["conventional_mass"], large["expanded_uncertainty"]) == ("20.000034 g", "25 ug")
    assert large["density"] == "7950 kg/m3"
    assert (small["nominal"], small["conventional_mass"]) == ("500 mg", "499.9985 mg")
    assert (small["expanded_uncertainty"], small["coverage_factor"]) == ("4.0 ug", "1")
    assert any("nominal mass not stated" in note for note in found.notes)


@pytest.mark.parametrize("file", [SET, PAIR])
def test_the_weights_are_taken_by_a_check(file):
    weights = read_certificate(file).weights
    name = next(iter(weights))
    nominal = weights[name]["nominal"]
    with Client.embedded() as client:
        answer = client.check_span(
            rounds=[{"load": [name], "zero": "0.000 g", "indication": nominal}],
            weights=weights,
            instrument={"scale_interval": "1 mg"},
        )
    mass = Decimal(weights[name]["conventional_mass"].split()[0])
    assert answer.criterion("span_error[0]").value == Decimal(nominal.split()[0]) - mass


def test_as_toml_it_is_the_table_of_a_site_file(tmp_path):
    found = read_certificate(SET, names={"A2": 'two "g"'}, due_on="2027-02-28")
    read = tomllib.loads(found.to_toml())["weights"]
    assert list(read) == ['two "g"', "A10", "A50"]
    assert read["A10"]["conventional_mass"] == "10.000021 g"
    assert str(read["A10"]["due_on"]) == "2027-02-28"
    site = tmp_path / "site.toml"
    site.write_text(found.to_toml())
    with Client.embedded(defaults=site) as client:
        answer = client.check_span(
            rounds=[{"load": ["A10"], "zero": "0.000 g", "indication": "10.000 g"}],
            instrument={"scale_interval": "1 mg"},
        )
    assert answer.criterion("span_error[0]").value == Decimal("-0.000021")


def test_texts_of_a_certificate_cannot_leave_their_comment():
    raw = changed(SET, ("Fennmark Mass Laboratory (invented)", "Lab&#10;[weights.X]&#127;x"))
    text = read_certificate(raw).to_toml()
    assert "X" not in tomllib.loads(text)["weights"]


@pytest.mark.parametrize(
    ("unit", "power"),
    [
        (r"\kilogram", 3),
        (r"\gram", 0),
        (r"\milli\gram", -3),
        (r"\milligram", -3),
        (r"\micro\gram", -6),
        (r"\kilo\gram", 3),
        (r"\tonne", 6),
        ("kilogram", None),
        ("mg", None),
        (r"\metre", None),
        (r"\gram\metre", None),
        (r"\milli\kilogram", None),
    ],
)
def test_units_of_mass(unit, power):
    assert gram_power(unit) == power


@pytest.mark.parametrize(
    ("number", "text"),
    [
        ("10.000012", "10.000012 g"),
        ("0.5000", "500.0 mg"),
        ("0.0000120", "12.0 ug"),
        ("1E+3", "1000 g"),
        ("0.000000012", "0.012 ug"),
        ("10.0000000012", "10000.0000012 mg"),
    ],
)
def test_a_mass_keeps_its_digits(number, text):
    assert mass_text(Decimal(number), "w") == text


def test_a_mass_of_too_many_digits_is_refused():
    with pytest.raises(CertificateError, match="more digits"):
        mass_text(Decimal("1.0000000000000000001"), "w")


def test_the_decimal_context_of_the_caller_plays_no_part():
    expected = read_certificate(SET).weights
    with localcontext(Context(prec=2, traps=[Inexact])):
        assert read_certificate(SET).weights == expected


K2 = "<si:coverageFactorXMLList>2</si:coverageFactorXMLList>"
P95 = "<si:coverageProbabilityXMLList>0.95</si:coverageProbabilityXMLList>"
MARKS = "<dcc:charsXMLList>A2 A10 A50</dcc:charsXMLList>"
UNIT = r"<si:unitXMLList>\kilogram</si:unitXMLList>"
REFUSED = {
    "another version": (SET, [('schemaVersion="3.1.2"', 'schemaVersion="2.4.0"')], "2.4.0"),
    "a later version": (SET, [('schemaVersion="3.1.2"', 'schemaVersion="4.0.0"')], "4.0.0"),
    "no version": (SET, [('schemaVersion="3.1.2"', "")], "none"),
    "no identifier": (SET, [("FML-2026-0211", "")], "unique identifier"),
    "no day": (SET, [("<dcc:endPerformanceDate>2026-02-11</dcc:endPerformanceDate>", "")], "ended"),
    "a day there is not": (SET, [("2026-02-11<", "2026-02-31<")], "no day"),
    "days the wrong way round": (SET, [("2026-02-10<", "2026-02-12<")], "contradict"),
    "issued before": (PAIR, [("2026-03-09<", "2026-03-01<")], "contradict"),
    "k below 1": (SET, [(K2, K2.replace("2", "0.5"))], "below 1"),
    "no k": (SET, [(K2, "")], "no coverage factor"),
    "k too small for p": (SET, [(P95, P95.replace("0.95", "0.9973"))], "contradict each other"),
    # GUM table G.2, one degree of freedom: 12.71 for 95 %, 13.97 for 95.45 %. A larger k would
    # make the uncertainty small.
    "k too large for p": (SET, [(K2, K2.replace("2", "12.8"))], "at most 12.71"),
    "k too large": (SET, [(K2, K2.replace("2", "14")), (P95, "")], "at most 13.97"),
    "p above 1": (SET, [(P95, P95.replace("0.95", "95"))], "not between 0 and 1"),
    "k of two weights": (SET, [(K2, K2.replace("2", "2 2"))], "2 for 3 values"),
    "a decimal comma": (SET, [("0.010000021", "0,010000021")], "no number of D-SI"),
    "a number missing": (SET, [("0.010000021 ", "")], "3 for 2 values"),
    "NaN": (SET, [("0.010000021", "NaN")], "no number of D-SI"),
    "a wrong unit": (SET, [(UNIT, UNIT.replace("kilogram", r"milli\gram"))], "more than a tenth"),
    "no unit of mass": (SET, [(UNIT, UNIT.replace("kilogram", "metre"))], "no mass"),
    "no unit at all": (SET, [(UNIT, "")], "units"),
    "another order of magnitude": (SET, [("0.000000020", "0.002")], "more than a tenth of"),
    "an uncertainty of zero": (SET, [("0.000000020", "0")], "greater than zero"),
    "a negative mass": (SET, [("0.010000021", "-0.010000021")], "greater than zero"),
    "a mark that is no item": (SET, [(MARKS, MARKS.replace("A10", "A11"))], "of which"),
    "no marks": (SET, [(MARKS, "")], "of which"),
    "a mark twice": (SET, [(MARKS, MARKS.replace("A10", "A2"))], "second result"),
    "a mark too few": (SET, [(MARKS, MARKS.replace("A10 ", ""))], "2 names for 3"),
    "two values in two units": (PAIR, [("0.020000034", "0.020000035")], "not the same"),
    "no such item": (PAIR, [('refId="item-500"', 'refId="item-5"')], "of which"),
    "invalid by its own word": (
        SET,
        [("<dcc:customer>", "<dcc:x><dcc:valid>false</dcc:valid></dcc:x><dcc:customer>")],
        "invalid",
    ),
    "an interval": (PAIR, [("standardMU>", "coverageIntervalMU>")], "coverage interval"),
    "no uncertainty": (
        PAIR,
        [("standardMU>", "otherMU>")],
        "no uncertainty",
    ),
    "a mass that is not the conventional one": (
        PAIR,
        [("mass_conventionalMass", "mass_mass")],
        "no conventional mass",
    ),
}


@pytest.mark.parametrize("what", REFUSED)
def test_what_is_not_stated_or_contradicts_itself_is_refused(what):
    file, pairs, said = REFUSED[what]
    with pytest.raises(CertificateError, match=said):
        read_certificate(changed(file, *pairs))


@pytest.mark.parametrize(("k", "p"), [("12.71", P95), ("3", ""), ("13.97", "")])
def test_a_coverage_factor_of_few_degrees_of_freedom_is_taken(k, p):
    found = read_certificate(changed(SET, (K2, K2.replace("2", k)), (P95, p)))
    assert {weight["coverage_factor"] for weight in found.weights.values()} == {k}


def test_the_caller_may_say_what_the_certificate_does_not():
    raw = changed(PAIR, ("mass_conventionalMass", "mass_mass"))
    assert read_certificate(raw, quantity="mass_mass").weights == read_certificate(PAIR).weights
    raw = changed(SET, (MARKS, ""))
    assert read_certificate(raw, in_order=True).weights == read_certificate(SET).weights


def test_results_are_not_counted_off_over_fewer_items():
    raw = changed(SET, (MARKS, ""), ("0.002000012 ", ""), ("0.000000012 ", ""), (">2 10", ">10"))
    raw = raw.replace(b"0.012 0.021", b"0.021")
    with pytest.raises(CertificateError, match="2 results for 3 items"):
        read_certificate(raw, in_order=True)


def test_two_conventional_masses_side_by_side_are_asked_about():
    raw = changed(
        SET, ("Deviation of the conventional mass from the nominal", "Conventional mass,")
    )
    raw = raw.replace(b"basic_measurementError", b"basic_measuredValueAsFound")
    with pytest.raises(CertificateError, match="second conventional quantity"):
        read_certificate(raw)
    found = read_certificate(raw, quantity="basic_measuredValue").weights
    assert found == read_certificate(SET).weights


def test_due_before_it_was_calibrated():
    with pytest.raises(CertificateError, match="before it was calibrated"):
        read_certificate(SET, due_on="2026-02-10")


ROOT = SET.read_text("utf-8")
LAUGHS = "".join(f'<!ENTITY l{i} "{f"&l{i - 1};" * 10}">' for i in range(1, 10))
BOMB = f'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY l0 "ha">{LAUGHS}]><x>&l9;</x>'
QUADRATIC = f'<!DOCTYPE x [<!ENTITY a "{"a" * 10000}">]><x>{"&a;" * 10000}</x>'
HARMFUL = {
    "a bomb of entities": (BOMB, "entities"),
    "one large entity often": (QUADRATIC, "entities"),
    "an external entity": (
        '<!DOCTYPE x [<!ENTITY e SYSTEM "file:///etc/passwd">]><x>&e;</x>',
        "entities",
    ),
    "an external document type": ('<!DOCTYPE x SYSTEM "http://127.0.0.1:9/x.dtd"><x/>', "document"),
    "a parameter entity": (
        '<!DOCTYPE x [<!ENTITY % p SYSTEM "http://127.0.0.1:9/p">%p;]><x/>',
        "document type",
    ),
    "a certificate with a document type": (
        ROOT.replace("<dcc:digital", "<!DOCTYPE x><dcc:digital", 1),
        "document type",
    ),
    "very deep": ("<a>" * (DEEPEST + 1) + "</a>" * (DEEPEST + 1), "nested deeper"),
    "very many elements": ("<a>" + "<b/>" * MOST_ELEMENTS + "</a>", "elements"),
    "huge": ("<a>" + " " * (32 * 1024 * 1024) + "</a>", "bytes"),
    "cut": (ROOT[:4000], "well-formed"),
    "nothing": ("", "well-formed"),
    "no XML": ("A10 10.000021 g", "well-formed"),
    "another document": ("<html/>", "its root is html"),
    "another namespace": (ROOT.replace("https://ptb.de/dcc", "https://ptb.de/other"), "its root"),
    "an unknown encoding": ('<?xml version="1.0" encoding="x-none"?><a/>', "XML"),
    "half a character": (b"\xff\xfe<\x00", "well-formed"),
}


@pytest.mark.parametrize("what", HARMFUL)
def test_files_meant_to_do_harm(what):
    text, said = HARMFUL[what]
    with pytest.raises(CertificateError, match=said) as refused:
        read_certificate(text if isinstance(text, bytes) else text.encode())
    assert "root:" not in str(refused.value)
    assert len(str(refused.value)) < 400


def test_a_signed_file_is_said_to_be_one_that_was_not_looked_at():
    mark = '<ds:Signature xmlns:ds="http://www.w3.org/2000/09/xmldsig#"/>'
    raw = changed(SET, ("</dcc:digitalCal", f"{mark}</dcc:digitalCal"))
    assert any("signature of the file" in note for note in read_certificate(raw).notes)


@pytest.fixture
def here(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_the_command(here, capsys):
    arguments = ["weights", "import", str(SET), "--due-on", "2027-02-28", "--name", "A2=two"]
    assert main([*arguments, "-o", "weights.toml"]) == 0
    assert list(tomllib.loads((here / "weights.toml").read_text())["weights"]) == [
        "two",
        "A10",
        "A50",
    ]
    assert "note: passed over: Deviation" in capsys.readouterr().err
    assert main([*arguments, "--json", "--quiet"]) == 0
    said = capsys.readouterr()
    assert json.loads(said.out)["two"]["nominal"] == "2 g"
    assert said.err == ""


def test_the_command_says_what_is_wrong(here, capsys):
    (here / "bomb.xml").write_text(BOMB)
    for arguments, words in (
        (["bomb.xml"], "bomb.xml: the file declares a document type"),
        (["no-such.xml"], "no-such.xml: No such file"),
        ([str(SET), "--name", "A2"], "MARK=NAME"),
    ):
        assert main(["weights", "import", *arguments]) == 2
        assert words in capsys.readouterr().err


def test_a_name_that_is_too_long():
    with pytest.raises(CertificateError, match="1 to 64"):
        read_certificate(SET, names={"A2": "x" * 65})


def test_the_uncertainty_may_stand_with_either_unit():
    """Here the first of three, in mg, has none."""
    more = r"<si:real><si:value>20000.034</si:value><si:unit>\milli\gram</si:unit></si:real>"
    raw = changed(PAIR, ("<si:hybrid>", f"<si:hybrid>{more}"))
    assert read_certificate(raw).weights["FML-8812"]["expanded_uncertainty"] == "25 ug"


def test_a_hybrid_of_nothing_is_no_mass():
    text = PAIR.read_text("utf-8")
    begin, end = text.index("<si:hybrid>"), text.index("</si:hybrid>")
    raw = (text[:begin] + "<si:hybrid>" + text[end:]).encode()
    with pytest.raises(CertificateError, match="no mass"):
        read_certificate(raw)
