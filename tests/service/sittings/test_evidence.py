"""Which causes are left, by arithmetic beside each case. A10 is 10.00006 g, A50 49.99995 g."""

from collections.abc import Mapping
from typing import Any

import pytest

from weighworthy_service.checks.registry import KINDS

COLD = {"warm_up": "5 min"}  # the profile voids below 40 min


def causes(answer: Mapping[str, Any], index: int) -> dict[tuple[str, str | None], Any]:
    """Of the only failed value of a check."""
    (failed,) = (f for f in answer["evidence"]["failed"] if f["index"] == index)
    return {(c["cause"], c["weight"]): c for c in failed["causes"]}


def states(answer: Mapping[str, Any], index: int) -> dict[str, str]:
    return {name: cause["state"] for (name, _), cause in causes(answer, index).items()}


def test_in_order_nothing_needs_a_cause(ask, span, loss, linearity):
    evidence = ask(span(), linearity(), loss())["evidence"]
    assert (evidence["failed"], evidence["alone"], evidence["silent"]) == ([], [], [])
    # The error at 50 g twice, and the departure from 12 g to 10 g.
    assert [(c["what"], c["agrees"]) for c in evidence["compared"]] == [
        ("error", True),
        ("departure", True),
    ]


def test_span_fails_beside_a_loss_that_passes(ask, span, loss):
    answer = ask(span("50.012 g"), loss())
    found = causes(answer, 0)
    gain = found["gain", None]
    # E = 50.012 - 49.99995 = 12.05 mg; over 49.99995 g that is 2.41e-4.
    assert gain["state"] == "possible"
    assert (gain["from"] + gain["to"]) / 2 == pytest.approx(0.01205 / 49.99995, rel=1e-9)
    # The zero came back: 0.0 mg ± 1.6 mg.
    assert found["zero-change", None]["state"] == "contradicted"
    assert found["zero-drift", None]["state"] == "contradicted"
    assert found["weight", "A50"]["state"] == "possible"
    assert "gain" in {one["cause"] for one in answer["evidence"]["alone"]}
    (failed,) = answer["evidence"]["failed"]
    assert {"check": "linearity", "how": None}.items() <= failed["next"][0].items()
    assert "gain" not in failed["next"][0]["leaves"]
    assert "common-zero" in {one["cause"] for one in failed["cannot"]}


def test_loss_that_fails_cannot_tell_zero_from_departure(ask, span, loss):
    # 9.992 g: L = 16.7333 %, E = +0.06675 %; c = -100/12: the zero fell by 8.01 mg.
    answer = ask(span(), loss("9.992 g"))
    found = causes(answer, 1)
    drift, departure = found["zero-drift", None], found["departure", None]
    assert (drift["from"], drift["to"]) == (departure["from"], departure["to"])
    error = 100 * (12 - 9.992) / 12 - 100 * (1 - 10.00006 / 12.00006)
    assert (drift["from"] + drift["to"]) / 2 == pytest.approx(-error * 12 / 100, rel=1e-9)
    assert {drift["state"], departure["state"]} == {"possible"}
    assert found["zero-change", None]["state"] == "contradicted"
    (failed,) = answer["evidence"]["failed"]
    assert "gain" in {one["cause"] for one in failed["cannot"]}
    names = [(one["check"], one["how"]) for one in failed["next"]]
    assert {("linearity", None), ("simulated-loss", "other-weights")} <= set(names)


def test_linearity_tells_them_apart(ask, span, loss, linearity):
    found = states(ask(span(), linearity(), loss("9.992 g")), 2)
    assert (found["departure"], found["zero-drift"]) == ("contradicted", "possible")
    # Low by 8 mg at 10 g and right at 12 g: that is what the loss saw.
    bent = linearity(0, -8, 0, 0)
    point = {"load": ["A10", "A2"], "zero": "0.000 g", "indication": "12.000 g"}
    bent["points"].insert(2, point)
    answer = ask(span(), bent, loss("9.992 g"))
    assert states(answer, 2)["departure"] == "possible"
    assert [c["agrees"] for c in answer["evidence"]["compared"]] == [True, True]


def test_weight_is_seen_by_every_check_it_lies_on_the_pan_for(ask, loss, linearity):
    # A2 8 mg light: lost 1.992 g instead of 2 g, E = -0.0555 %: like a final load of 10.008 g.
    clean = causes(ask(linearity(), loss("10.008 g")), 1)
    assert clean["weight", "A2"]["state"] == "contradicted"
    answer = ask(linearity(-8, 0, 0, 0), loss("10.008 g"))
    found = causes(answer, 1)["weight", "A2"]
    assert found["state"] == "possible"
    assert found["from"] < -0.008 < found["to"]
    alone = {(one["cause"], one["weight"]) for one in answer["evidence"]["alone"]}
    assert ("weight", "A2") in alone
    assert ("weight", "A10") not in alone


def test_heat_is_named_where_there_was_any(ask, loss):
    assert "hot-zero-drift" not in states(ask(loss("9.992 g")), 0)
    assert states(ask(loss("9.992 g", heating=True)), 0)["hot-zero-drift"] == "possible"


def test_void_checks_rule_nothing_out_and_stay_visible(ask, span, loss):
    found = states(ask(span(**COLD), loss("9.992 g")), 1)
    assert found["zero-change"] == "possible"
    answer = ask(span("50.012 g", **COLD), loss())
    (failed,) = answer["evidence"]["failed"]
    assert (failed["index"], failed["valid"]) == (0, False)
    assert answer["evidence"]["alone"] == []


def test_two_failures_at_once(ask, span, loss):
    answer = ask(span("50.012 g"), loss("9.992 g"))
    alone = {one["cause"] for one in answer["evidence"]["alone"]}
    # Off by chance, a reading can be, in both; a gain explains no loss.
    assert "gain" not in alone
    assert "scatter" in alone


def test_adjusting_makes_another_gain(ask, span, loss, linearity):
    """Found 12 mg off, adjusted to 0: the linearity run after it speaks of the second gain."""
    check = span()
    found = {**check["rounds"][0], "stage": "as-found", "indication": "50.012 g"}
    left = {**check["rounds"][0], "stage": "as-left"}
    check["rounds"] = [found, {"stage": "adjustment"}, left]
    after = ask(check, linearity(), loss())
    assert states(after, 0)["gain"] == "possible"
    gain = after["losses"][0]["constant_gain"]
    assert gain["from"] < 0 < gain["to"]
    before = ask(linearity(), check, loss())
    assert states(before, 1)["gain"] == "contradicted"
    compared = before["evidence"]["compared"]
    assert [c["agrees"] for c in compared if c["what"] == "error"] == [False]


def test_scatter_is_bounded_by_repeatability(ask, span):
    """12 mg by chance needs s of some 5 mg; ten placings within ±1 mg leave 2 mg at the most."""
    assert states(ask(span("50.012 g")), 0)["scatter"] == "possible"
    each = [{"zero": "0.000 g", "indication": f"20.00{i % 2} g"} for i in range(10)]
    placed = {"check": "repeatability", "load": ["A20"], "placings": each}
    found = causes(ask(span("50.012 g"), placed), 0)["scatter", None]
    assert found["state"] == "contradicted"
    # s of five 0 and five 1 is √(10·0.25/9) = 0.527 mg; χ² of 9 degrees of freedom is 2.700 at
    # 2.5 % (tables), so that up to 0.527·√(9/2.700) = 0.962 mg; half a step may hide besides.
    (bound,) = (b for b in found["bounds"] if b["what"] is not None)
    assert bound["to"] == pytest.approx(0.962e-3 + 0.5e-3, abs=2e-6)


def test_off_centre_is_bounded_by_eccentricity(ask, span):
    """12 mg of 50 g is 2.4e-4 of the load; at 20 g the pan showed no more than 1 mg, 5e-5."""
    shown = {"centre": "20.000 g", "front": "20.001 g", "back": "19.999 g", "left": "20.000 g"}
    placings = [
        {"position": position, "zero": "0.000 g", "indication": indication}
        for position, indication in shown.items()
    ]
    pan = {"check": "eccentricity", "load": ["A20"], "placings": placings}
    assert states(ask(span("50.012 g")), 0)["off-centre"] == "possible"
    answer = ask(span("50.012 g"), pan)
    found = causes(answer, 0)["off-centre", None]
    assert found["state"] == "contradicted"
    (bound,) = (b for b in found["bounds"] if b["what"] is not None)
    (difference, _) = answer["answers"][1]["criteria"]
    assert bound["to"] == pytest.approx((0.001 + difference["expanded_uncertainty"]) / 20)


def test_reference_material_shows_the_whole_drying(ask, loss):
    """Found 15.36 % for 15.66 %: 0.3 % low, or a zero 0.3 %·2 g/100 % = 6 mg high at the end."""
    run = {"initial_mass": "2.0000 g", "final_mass": "1.6928 g"}
    material = {"name": "invented", "stated_loss": "15.66 %", "standard_uncertainty": "0.02 %"}
    limits = {
        "id": "dryings",
        "revision": "1",
        "title": "Invented",
        "rules": [{"limits": {"bias": {"within": "0.1 %"}}}],
    }
    check = {"check": "reference-material", "material": material, "runs": [run, run]}
    answer = ask(check, loss(), profile=limits)
    found = causes(answer, 0)
    assert {name for name, _ in found} == {"drying", "hot-zero-drift", "zero-drift"}
    assert all(cause["state"] == "possible" for cause in found.values())
    for name, middle in (("drying", -0.3), ("hot-zero-drift", 0.006)):
        cause = found[name, None]
        assert (cause["from"] + cause["to"]) / 2 == pytest.approx(middle)
    assert found["drying", None]["unit"] == "%"
    (failed,) = answer["evidence"]["failed"]
    assert [s["check"] for s in failed["next"] if s["how"] is None] == ["blank-run", "heater"]


def test_of_a_drying_alone_the_temperature_is_looked_at_next(ask, loss):
    """Displayed losses tell nothing of a zero, so the drying is all that is left."""
    material = {"name": "invented", "stated_loss": "15.66 %", "standard_uncertainty": "0.02 %"}
    limits = {
        "id": "dryings",
        "revision": "1",
        "title": "Invented",
        "rules": [
            {"limits": {"bias": {"within": "0.1 %"}}},
            {"checks": ["heater"], "limits": {"temperature_error": {"within": "2 K"}}},
        ],
    }
    run = {"displayed_loss": "15.36 %"}
    check = {"check": "reference-material", "material": material, "runs": [run, run]}
    (failed,) = ask(check, loss(), profile=limits)["evidence"]["failed"]
    (step,) = failed["next"]
    assert (step["check"], step["how"]) == ("heater", None)
    assert (step["tells"], step["leaves"]) == (["drying"], [])
    assert "if it is right, others are left" in step["message"]
    # Done already, it is not asked for.
    example = next(kind for kind in KINDS if kind.slug == "heater").example["request"]
    low = {"set": "100 Cel", "readings": ["100.2 Cel", "100.1 Cel", "100.2 Cel"]}
    high = {"set": "150 Cel", "readings": ["150.2 Cel", "150.1 Cel", "150.2 Cel"]}
    done = {"check": "heater", "probe": example["probe"], "set_points": [low, high]}
    answer = ask(check, done, profile=limits)
    assert [one["verdict"] for one in answer["answers"]] == ["fail", "pass"]
    (failed,) = answer["evidence"]["failed"]
    assert failed["next"] == []


def test_adjusting_takes_a_wrong_weight_in(ask, span, loss, linearity):
    """Adjusted with the dirty A50, the balance reads right with it: that clears no weight."""
    check = span()
    found = {**check["rounds"][0], "stage": "as-found", "indication": "50.012 g"}
    left = {**check["rounds"][0], "stage": "as-left"}
    check["rounds"] = [found, {"stage": "adjustment"}, left]
    assert states(ask(check, linearity()), 0)["weight"] == "possible"
    assert states(ask(linearity(), check), 1)["weight"] == "contradicted"


def test_hysteresis_comes_after_a_heavier_load(ask, loss):
    assert "hysteresis" in states(ask(loss("9.992 g")), 0)
    up = {**loss(), "final": {"load": ["A20"], "indication": "20.020 g"}}
    assert "hysteresis" not in states(ask(up), 0)


def test_loss_as_the_sitting_shows_it(ask, span, loss, linearity):
    (shown,) = ask(span("50.004 g"), loss())["losses"]
    gain = shown["constant_gain"]
    # 4.05 mg over 49.99995 g, and so many parts of 12 g; nothing of a loss.
    assert (gain["from"] + gain["to"]) / 2 == pytest.approx(0.00405 / 49.99995, rel=1e-9)
    assert gain["mass_to"] == pytest.approx(12 * gain["to"], rel=1e-9)
    assert (gain["loss"], gain["passes"], shown["linearity"]) == (0, True, [])
    (shown,) = ask(linearity(0, -2, 0, 0), loss())["losses"]
    (curve,) = shown["linearity"]
    # e(10 g) = -2.06 mg; e(12 g) = 0.8·(-2.06) + 0.2·0 = -1.648 mg (loads as stated: 10.00006 g);
    # D = -2.06 + 1.648·10/12 = -0.68667 mg; c = -100/12 %/g.
    assert curve["departure"] == pytest.approx(-0.00068667, abs=2e-8)
    assert curve["effect"] == pytest.approx(0.0057222, abs=2e-7)
    assert curve["row"]["contribution"] == pytest.approx(0.0057222 / 3**0.5, abs=2e-7)
    budget = ask(linearity(0, -2, 0, 0), loss())["answers"][1]["criteria"][0]
    whole = (budget["standard_uncertainty"] ** 2 + curve["row"]["contribution"] ** 2) ** 0.5
    assert curve["expanded_uncertainty"] == pytest.approx(2.1 * whole, rel=0.1)
    assert curve["expanded_uncertainty"] > budget["expanded_uncertainty"]


def test_beyond_its_loads_a_curve_says_nothing(ask, loss, linearity):
    short = linearity()
    short["points"] = short["points"][:2]  # up to 10 g, and the loss begins at 12 g
    answer = ask(short, loss("9.992 g"))
    assert answer["losses"][0]["linearity"] == []
    assert answer["evidence"]["compared"] == []
    assert states(answer, 1)["departure"] == "possible"


def test_of_a_drying_only_a_gain_is_said_not_to_act(ask, common):
    """Losses read off the display have no mass to size a change of zero by, which acts."""
    material = {"name": "x", "stated_loss": "15.66 %", "standard_uncertainty": "0.02 %"}
    runs = [{"displayed_loss": "12.00 %"}, {"displayed_loss": "12.02 %"}]
    check = {"check": "reference-material", "material": {**material, "due_on": "2027-01-01"}}
    limit = {"checks": ["reference-material"], "limits": {"bias": {"within": "0.15 %"}}}
    profile = {**common["profile"], "rules": [*common["profile"]["rules"], limit]}
    answer = ask({**check, "runs": runs}, profile=profile)
    (failed,) = answer["evidence"]["failed"]
    assert [cause["cause"] for cause in failed["cannot"]] == ["gain"]
