"""Dry runs against what is known of them from outside: propagation of a loss, atomic masses."""

from decimal import Decimal

import pytest

from weighworthy import Client, q

# IUPAC abridged standard atomic weights (typed by hand; Na in full).
HYDROGEN, CARBON, OXYGEN, SODIUM = (
    Decimal(a) for a in ("1.008", "12.011", "15.999", "22.98976928")
)
WATER = 2 * HYDROGEN + OXYGEN
TARTRATE = 4 * CARBON + 4 * HYDROGEN + 2 * SODIUM + 6 * OXYGEN + 2 * WATER


@pytest.fixture(scope="module")
def client():
    with Client.embedded() as embedded:
        yield embedded


# A drift of the zero by δz between both readings of m = 10 g: δL = -δz/m; a lift of 5 mg by hot air
# at the end is δz = -5 mg. (Table of faults of a loss, computed with another library, as in
# test_fault_table.)
@pytest.mark.parametrize(("shift", "loss"), [("3 mg", "-0.0300"), ("-5 mg", "0.0500")])
def test_what_a_change_of_zero_does_to_a_loss(client, shift, loss):
    answer = client.check_blank_run(
        instrument={"scale_interval": "1 mg"},
        sample_mass="10 g",
        runs=[{"initial": "0 mg", "final": shift}],
    )
    assert answer.criterion("moisture_effect").value == Decimal(loss)


def test_what_blank_runs_declare_takes_a_known_drift_out_of_a_loss(client):
    """A balance that falls by 4 mg in every hot run: 12 g, of which 2 g are lifted off, read
    12.000 g and 9.996 g, and a loss of 2.004/12 is too large by 0.0333 % points."""
    balance = {"scale_interval": "1 mg", "repeatability": "0.5 mg"}
    hot = {
        "initial": "0 g",
        "final": "-4 mg",
        "duration": "10 min",
        "chamber_temperature": "105 Cel",
    }
    blank = client.check_blank_run(instrument=balance, sample_mass="5 g", runs=[hot] * 4)
    declared = blank.data["results"]["declare"]
    assert declared["recommended"] == "hot_zero_correction"
    correction = {name: q(value, "g") for name, value in declared["hot_zero_correction"].items()}

    def error(**known):
        answer = client.check_simulated_loss(
            instrument={**balance, **known},
            weights={
                w: {"nominal": f"{w[1:]} g", "weight_class": "OIML F1"} for w in ("A10", "A2")
            },
            heating=True,
            initial={"load": ["A10", "A2"], "indication": "12.000 g"},
            final={"load": ["A10"], "indication": "9.996 g"},
        )
        return answer.criterion("loss_error").value

    assert error() == pytest.approx(Decimal("0.0333333"), abs=Decimal("1e-6"))
    assert error(hot_zero_correction=correction) == 0


def test_water_of_sodium_tartrate_dihydrate():
    """C4H4Na2O6·2H2O: M = 230.08 g/mol, of which 15.66 % are water; 2-decimal figures are those of
    the trade. ACS Reagent Chemicals takes a loss on drying from 15.61 % to 15.71 % (read in a
    public copy of the monograph)."""
    assert round(TARTRATE, 2) == Decimal("230.08")
    share = 100 * 2 * WATER / TARTRATE
    assert round(share, 2) == Decimal("15.66")
    assert Decimal("15.61") <= share <= Decimal("15.71")


@pytest.mark.parametrize(("moles", "verdict"), [(2, "pass"), (1, "fail")])
def test_a_drying_that_takes_all_water_or_half_of_it(client, moles, verdict):
    """3.0000 g of it, dried until so many moles of water have left, within the range of ACS."""
    left = round(3 * (TARTRATE - moles * WATER) / TARTRATE, 4)
    limits = {"bias": {"within": "0.05 %", "source": "ACS Reagent Chemicals, loss on drying"}}
    answer = client.check_reference_material(
        instrument={"scale_interval": "0.1 mg", "repeatability": "0.1 mg"},
        material={"stated_loss": "15.66 %", "standard_uncertainty": "0.005 %"},
        runs=[{"initial_mass": "3.0000 g", "final_mass": q(left, "g")}] * 3,
        profile={"id": "acs", "revision": "1", "title": "Range", "rules": [{"limits": limits}]},
    )
    assert answer.verdict == verdict
    found = answer.data["results"]["mean_loss"]
    # Rounded to 0.1 mg of 3 g: 0.0033 % points at most.
    assert abs(found - 100 * moles * WATER / TARTRATE) <= Decimal("0.0034")
