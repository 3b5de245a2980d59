"""`explain=true`: every number reckoned again from the request, by another evaluator."""

import json
import re
import tomllib
from copy import deepcopy
from dataclasses import replace
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from weighworthy_service.checks.registry import KINDS
from weighworthy_service.profiles.refusal import Refusal
from weighworthy_service.web.views import _explain

GENERAL = Path(__file__).parents[2] / "service/weighworthy_service/profiles/published/general.toml"
IN_BASE = {"g": "1", "mg": "1e-3", "kg": "1e3", "ug": "1e-6", "%": "1", "Cel": "1", "hPa": "1"}
IN_BASE |= {"kPa": "10", "kg/m3": "1", "g/cm3": "1e3", "d": "1", "e": "1"}
IN_BASE |= {"% of load": "1", "% of capacity": "1", "K": "1", "s": "1", "min": "60"}
# OIML R 111-1:2004, Table 1, in mg, typed by hand.
MPE = {
    "OIML E2": {"2 g": "0.04", "10 g": "0.06", "20 g": "0.08", "50 g": "0.1"},
    "OIML F1": {"2 g": "0.12", "10 g": "0.20", "20 g": "0.25", "50 g": "0.3"},
}
# The page of all checks: a of unmeasured air, the density of steel.
RULES = {"share by which unmeasured air may be off": "0.1"}
RULES |= {"density of a weight that states none": "7950"}


def in_base(text: str) -> Decimal:
    number, unit = text.split(" ", 1)
    if unit in ("s", "min"):
        return Decimal(number) * (60 if unit == "min" else 1)
    return Decimal(number) * Decimal(IN_BASE[unit])


def profile(rule: dict[str, Any], **more: Any) -> dict[str, Any]:
    return {"id": "kestrel", "revision": "1", "title": "Invented", "rules": [rule], **more}


def weights(**more: Any) -> dict[str, Any]:
    """Invented: by class, by certificate, by certificate without class, with drift and density."""
    return {
        "A20": {"nominal": "20 g", "weight_class": "OIML F1"},
        "B10": {
            "nominal": "10 g",
            "weight_class": "OIML E2",
            "conventional_mass": "10.000013 g",
            "expanded_uncertainty": "0.02 mg",
            "coverage_factor": "2.1",
            "drift": "0.01 mg",
        },
        "C50": {
            "nominal": "50 g",
            "conventional_mass": "50.00021 g",
            "expanded_uncertainty": "0.09 mg",
        },
        "D2": {"nominal": "2 g", "weight_class": "OIML F1", "density": "7.85 g/cm3"},
        "E2": {
            "nominal": "2 g",
            "conventional_mass": "2.000003 g",
            "expanded_uncertainty": "0.01 mg",
            "density": "8400 kg/m3",
        },
        **more,
    }


BALANCE = {
    "capacity": "120 g",
    "scale_interval": "1 mg",
    "verification_interval": "10 mg",
    "repeatability": "0.7 mg",
    "repeatability_observations": 12,
    "eccentricity": {"difference": "3 mg", "load": "50 g"},
    "loss_interval": "0.01 %",
    "hot_zero_drift": "0.4 mg",
    "hot_zero_correction": {"value": "0.3 mg", "standard_uncertainty": "0.1 mg"},
}
AIR = {"temperature": "23.4 Cel", "relative_humidity": "37 %", "pressure": "98.7 kPa"}
BARE = {"scale_interval": "1 mg"}


def span(rule: dict[str, Any], **more: Any) -> dict[str, Any]:
    load, pair = ["C50"], ["A20", "B10"]

    def read(stage: str, load: list[str], zero: str, shown: str, after: str | None) -> Any:
        return {
            "stage": stage,
            "load": load,
            "zero": f"{zero} mg",
            "indication": f"{shown} g",
            "zero_after": after and f"{after} mg",
        }

    rounds = [
        read("as-found", load, "0", "50.007", "1"),
        read("as-found", load, "1", "50.009", "-1"),
        read("as-found", pair, "0", "30.004", None),
        {"stage": "adjustment"},
        read("as-left", load, "0", "50.001", "0"),
        read("as-left", pair, "0", "30.001", "0"),
        read("as-left", ["B10", "A20"], "0", "30.001", "1"),
    ]
    request = {"instrument": BALANCE, "weights": weights(), "rounds": rounds}
    return {**request, "profile": profile(rule), **more}


def linearity(rule: dict[str, Any], **more: Any) -> dict[str, Any]:
    loads = [["E2"], ["B10"], ["A20"], ["A20", "B10"], ["C50"]]
    up = ["2.000", "10.001", "20.002", "30.004", "50.003"]
    down = ["30.005", "20.003", "10.002", "2.001"]
    points = [
        {"load": load, "indication": f"{shown} g", "direction": "up"}
        for load, shown in zip(loads, up, strict=True)
    ]
    points += [
        {"load": load, "indication": f"{shown} g", "direction": "down", "zero": "1 mg"}
        for load, shown in zip(loads[-2::-1], down, strict=True)
    ]
    # Three readings of one load: their mean has no end; another weight of the same nominal mass.
    points += [{"load": ["D2"], "indication": "2.002 g", "direction": "up"}]
    points[0]["zero"] = "0.000 g"
    request = {"instrument": BALANCE, "weights": weights(), "points": points}
    return {**request, "profile": profile(rule), **more}


def loss(rule: dict[str, Any], **more: Any) -> dict[str, Any]:
    request = {
        "instrument": BALANCE,
        "weights": weights(),
        "initial": {"load": ["B10", "D2", "E2"], "indication": "14.002 g"},
        "final": {"load": ["B10"], "indication": "10.001 g"},
        "displayed_loss": "28.57 %",
        "profile": profile(rule),
    }
    return {**request, **more}


def repeatability(rule: dict[str, Any], nets: list[str], **more: Any) -> dict[str, Any]:
    """A zero before every third placing; `nets` in mg above 20 g."""
    placings = [{"indication": f"{20 + Decimal(net) / 1000} g"} for net in nets]
    for placing in placings[::3]:
        placing["zero"] = "-0.001 g"
    request = {"instrument": BALANCE, "weights": weights(), "load": ["A20"], "placings": placings}
    return {**request, "profile": profile(rule), **more}


def blank_run(rule: dict[str, Any], **more: Any) -> dict[str, Any]:
    """A damp pan, a run that is short and cold, and one that still drifts at its end."""

    def run(final: int, minutes: int, chamber: int, **own: Any) -> dict[str, Any]:
        stated = {"duration": f"{minutes} min", "chamber_temperature": f"{chamber} Cel"}
        return {"initial": "0 mg", "final": f"{final} mg", **stated, **own}

    falling = [{"at": f"{t} min", "indication": f"{-t} mg"} for t in range(12)]
    runs = [run(-25, 12, 105), run(-3, 7, 21), run(-11, 12, 105, series=falling), run(0, 12, 105)]
    request = {"instrument": BALANCE, "sample_mass": "2.7 g", "usual_duration": "10 min"}
    return {**request, "runs": runs, "profile": profile(rule), **more}


def material(rule: dict[str, Any], **more: Any) -> dict[str, Any]:
    """Losses from masses and from the display, earlier runs, a stated uncertainty at k = 2.1."""
    stated = {"stated_loss": "15.66 %", "expanded_uncertainty": "0.031 %", "coverage_factor": "2.1"}
    weighed = [("3.012", "2.537"), ("2.995", "2.521")]
    runs: list[dict[str, Any]] = [
        {"initial_mass": f"{before} g", "final_mass": f"{after} g"} for before, after in weighed
    ]
    runs.append({"displayed_loss": "15.84 %"})
    request = {"instrument": BALANCE, "material": stated, "runs": runs}
    spread = {"standard_deviation": "0.04 %", "observations": 12}
    return {**request, "spread": spread, "profile": profile(rule), **more}


def heater(rule: dict[str, Any], **more: Any) -> dict[str, Any]:
    """Readings of a controller that swings, more than stand in one step; stated and found times."""
    swinging = [f"{104.6 + 0.1 * (k % 7):.1f} Cel" for k in range(93)]
    probe = {
        "interval": "0.1 K",
        "corrections": [
            {"at": "50 Cel", "correction": "0.13 K"},
            {"at": "107 Cel", "correction": "-0.21 K"},
            {"at": "161 Cel", "correction": "-0.21 K"},
        ],
        "expanded_uncertainty": "0.31 K",
        "coverage_factor": "2.1",
        "drift": "0.12 K",
        "immersion_allowance": "0.4 K",
    }
    points = [
        {"set": "60 Cel", "readings": ["60.1 Cel"], "settled_after": "6.5 min"},
        {
            "set": "105 Cel",
            "readings": swinging,
            "displayed": "105 Cel",
            "series": [
                {"at": "20 s", "temperature": "61.3 Cel"},
                {"at": "1.5 min", "temperature": "106.2 Cel"},
                {"at": "143 s", "temperature": "105.3 Cel"},
            ],
        },
        {"set": "160 Cel", "readings": ["159.8 Cel", "160.6 Cel", "161.3 Cel"]},
    ]
    request = {
        "instrument": {"scale_interval": "1 mg"},
        "probe": probe,
        "set_points": points,
        "settled_within": "0.5 K",
        "time_step": "30 s",
        "display_interval": "1 K",
    }
    return {**request, "profile": profile(rule), **more}


LIMITS_OF_HEATERS = {
    "temperature_error": {"within": "2.0 K"},
    "settling_time": {"upper": "6 min", "when_present": True},
    "temperature_spread": {"upper": "1.4 K", "when_present": True},
    "display_error": {"lower": "-1 K", "upper": "1.5 K", "when_present": True},
}


def eccentricity(rule: dict[str, Any], places: str, **more: Any) -> dict[str, Any]:
    """`places`: like "centre:1", in mg above the load, with a zero before every second placing."""
    load = more.get("load", ["A20"])
    above = {"A20": "20", "B10": "10", "F20": "20"}
    placings: list[dict[str, Any]] = []
    for place in places.split():
        position, _, net = place.partition(":")
        shown = sum(Decimal(above[name]) for name in load) + Decimal(net) / 1000
        placings.append({"position": position, "indication": f"{shown} g"})
    for placing in placings[::2]:
        placing["zero"] = "0.001 g"
    request = {"instrument": BALANCE, "weights": weights(), "load": load, "placings": placings}
    return {**request, "profile": profile(rule), **more}


LIMITS_OF_SPAN = {
    "span_error": {"smaller_of": [{"within": "6 mg"}, {"within": "0.02 % of load"}]},
    "zero_return": {"upper": "1 d", "when_present": True},
    "span_agreement": {"within": "0.003 % of capacity", "when_present": True},
}
LIMITS_OF_LINES = {
    "point_error": {
        "bands": [{"up_to": "20 g", "within": "2 mg"}, {"up_to": "50 g", "within": "1 e"}]
    },
    "terminal_nonlinearity": {"within": "3 mg"},
    "zero_based_nonlinearity": {"within": "2 d"},
    "independent_nonlinearity": {"lower": "-2 mg", "upper": "2.5 mg"},
    "least_squares_nonlinearity": {"larger_of": [{"within": "1 mg"}, {"within": "1 d"}]},
    "hysteresis": {"within": "2 mg"},
}
GUARDED = {"decision": {"rule": "guarded", "guard_factor": "0.8", "coverage": "95 %"}}
FOUR_WAY = {"decision": {"rule": "four-way"}}
ROUNDING = {"decision": {"rule": "simple", "rounding": "rounding"}}
VALIDITY = {
    "warm_up": {"at_least": "60 min", "else": "warning"},
    "weights_at_most": {"share": "1/50 of limit", "else": "no-pass"},
    "uncertainty_within_tolerance": "no-pass",
}
REQUESTS: dict[str, tuple[str, dict[str, Any]]] = {
    **{f"example of {kind.slug}": (kind.slug, kind.example["request"]) for kind in KINDS},
    "span, air measured": ("span", span({"limits": LIMITS_OF_SPAN}, environment=AIR)),
    "span, guarded": ("span", span({"limits": LIMITS_OF_SPAN, **GUARDED})),
    "span, four-way, independent": (
        "span",
        span({"limits": LIMITS_OF_SPAN, "weights_correlation": "independent", **FOUR_WAY}),
    ),
    "span, no limits, bare": ("span", span({"limits": {}}, instrument=BARE)),
    "linearity": ("linearity", linearity({"limits": LIMITS_OF_LINES})),
    "linearity, worst, guarded": (
        "linearity",
        linearity({"limits": LIMITS_OF_LINES, "weights_correlation": "worst", **GUARDED}),
    ),
    "linearity, rounded": (
        "linearity",
        linearity({"limits": {"point_error": {"within": "2.0 mg"}}, **ROUNDING}),
    ),
    "linearity, no limits": ("linearity", linearity({"limits": {}}, environment=AIR)),
    "linearity, adjusted": (
        "linearity",
        linearity({"limits": LIMITS_OF_LINES}, occasion="after-adjustment"),
    ),
    "loss, hot": ("simulated-loss", loss({"limits": {"loss_error": {"within": "0.05 %"}}})),
    "loss, cold, dry": (
        "simulated-loss",
        loss({"limits": {"loss_error": {"within": "7 d"}}}, basis="dry", heating=False),
    ),
    "loss, displayed, down, four-way": (
        "simulated-loss",
        loss(
            {"limits": {"loss_error": {"upper": "0.05 %"}}, **FOUR_WAY},
            instrument={**BALANCE, "loss_rounding": "down"},
            initial={"load": ["B10", "D2", "E2"]},
            final={"load": ["B10"]},
        ),
    ),
    "loss, rounded, swapped": (
        "simulated-loss",
        loss(
            {
                "limits": {"loss_error": {"within": "0.05 %"}},
                "decision": {"rule": "simple", "rounding": "rounding", "rounding_to": "0.02 %"},
            },
            final={"load": ["E2"], "indication": "2.000 g"},
        ),
    ),
    "blank runs": ("blank-run", blank_run({"limits": {"zero_change": {"within": "9 d"}}})),
    "blank runs, four-way": (
        "blank-run",
        blank_run(
            {"limits": {"zero_change": {"lower": "-5 mg"}, "moisture_effect": {"within": "3 d"}}}
            | FOUR_WAY
        ),
    ),
    "blank run, one, bare": (
        "blank-run",
        blank_run({"limits": {}}, instrument=BARE, runs=[{"initial": "1 mg", "final": "0 mg"}]),
    ),
    "material": (
        "reference-material",
        material({"limits": {"bias": {"within": "0.1 %"}, "scatter": {"upper": "0.05 %"}}}),
    ),
    "material, dry, guarded": (
        "reference-material",
        material({"limits": {"bias": {"upper": "3.1 %"}}, **GUARDED}, basis="dry"),
    ),
    "material, one run, bare": (
        "reference-material",
        material(
            {"limits": {}},
            instrument=BARE,
            material={"stated_loss": "15.66 %"},
            runs=[{"initial_mass": "3 g", "final_mass": "2.5 g"}],
            spread=None,
        ),
    ),
    "heater": ("heater", heater({"limits": LIMITS_OF_HEATERS})),
    "heater, four-way": (
        "heater",
        heater(
            {"limits": LIMITS_OF_HEATERS, "validity": VALIDITY, **FOUR_WAY},
            settled_within="1 K",
            warm_up="20 min",
        ),
    ),
    "heater, guarded, bare": (
        "heater",
        heater(
            {"limits": {"temperature_error": {"upper": "1 K"}}, **GUARDED},
            probe={"interval": "0.2 K", "expanded_uncertainty": "0.3 K"},
        ),
    ),
    "heater, beyond its certificate": (
        "heater",
        heater(
            {"limits": {"temperature_error": {"within": "1.00 K"}}, **ROUNDING},
            probe={
                "interval": "0.1 K",
                "corrections": [
                    {"at": "55 Cel", "correction": "0.1 K"},
                    {"at": "110 Cel", "correction": "-0.1 K"},
                ],
                "expanded_uncertainty": "0.3 K",
            },
        ),
    ),
    "heater, no limits": ("heater", heater({"limits": {}})),
    "span, many findings": (
        "span",
        span(
            {"limits": {"span_error": {"within": "1 mg"}}, "validity": VALIDITY},
            warm_up="1200 s",
            instrument={**BARE, "repeatability": "1 mg", "repeatability_observations": 3},
            weights=weights(
                B10={
                    "nominal": "10 g",
                    "weight_class": "OIML E2",
                    "conventional_mass": "10.00005 g",
                    "expanded_uncertainty": "0.03 mg",
                }
            ),
        ),
    ),
    "linearity, many findings": (
        "linearity",
        linearity(
            {
                "limits": {"point_error": {"within": "3 mg"}, "hysteresis": {"upper": "2 mg"}},
                "validity": VALIDITY,
                **GUARDED,
            }
        ),
    ),
    "loss, many findings": (
        "simulated-loss",
        loss(
            {
                "limits": {"loss_error": {"within": "40 %"}},
                "decision": {"rule": "simple", "rounding": "rounding", "rounding_to": "45 %"},
                "start_window": {"target": "20 g", "allowance": "1 g"},
                "validity": {
                    "scatter_at_most": {
                        "share": "0.010 %",
                        "floor": "0.41 d",
                        "observations": 10,
                        "else": "void",
                    }
                },
            },
            instrument={**BALANCE, "capacity": "13 g"},
            displayed_loss="28.00 %",
            final={"load": ["B10"], "indication": "8.999 g"},
        ),
    ),
    "repeatability, four-way": (
        "repeatability",
        repeatability(
            {
                "limits": {
                    "standard_deviation": {"within": "0.006 % of load"},
                    "range": {"upper": "5 mg"},
                    "smallest_net_mass": {"upper": "2.5 g"},
                },
                **FOUR_WAY,
            },
            ["0", "1", "-1", "2", "0", "1", "0", "0.5"],
        ),
    ),
    "repeatability, below the floor, guarded": (
        "repeatability",
        repeatability(
            {"limits": {"standard_deviation": {"upper": "2 d"}}, **GUARDED},
            ["0", "0", "0", "0", "0", "0.3", "0"],
            load=["B10", "A20"],
            instrument={**BARE, "capacity": "20 g"},
        ),
    ),
    "repeatability, equal": (
        "repeatability",
        repeatability({"limits": {}}, ["0"] * 5, load=["E2", "A20"], instrument=BARE),
    ),
    "repeatability, a drift, two placings": (
        "repeatability",
        repeatability({"limits": {"range": {"within": "1 e"}}}, ["0", "9"]),
    ),
    "repeatability, a drift, much too large": (
        "repeatability",
        repeatability(
            {
                "limits": {"range": {"within": "1 e"}, "smallest_net_mass": {"within": "1 mg"}},
                "validity": VALIDITY,
            },
            ["1", "2.1", "2.9", "4", "5.2", "6"],
            warm_up="1200 s",
        ),
    ),
    "eccentricity, four-way": (
        "eccentricity",
        eccentricity(
            {
                "limits": {
                    "eccentricity": {"within": "0.02 % of load"},
                    "position_error": {"within": "8 mg"},
                },
                **FOUR_WAY,
            },
            "centre:1 a:4 b:2 a:5 centre:9 c:-1 d:0 centre:2",
        ),
    ),
    "eccentricity, guarded, several weights": (
        "eccentricity",
        eccentricity(
            {
                "limits": {
                    "eccentricity": {"lower": "-1 mg", "upper": "2 mg"},
                    "position_error": {"upper": "1 e"},
                },
                "validity": VALIDITY,
                **GUARDED,
            },
            "centre:0 a:1 b:-3 centre:7",
            load=["A20", "B10"],
            warm_up="1200 s",
            occasion="after-adjustment",
        ),
    ),
    "eccentricity, bare": (
        "eccentricity",
        eccentricity({"limits": {}}, "centre:0 a:0 b:0", instrument=BARE),
    ),
    "eccentricity, a weight without value": (
        "eccentricity",
        eccentricity(
            {"limits": {"eccentricity": {"within": "1 mg"}}},
            "centre:0 a:1 b:6000",
            load=["F20"],
            weights=weights(F20={"nominal": "20 g"}),
            instrument={**BARE, "capacity": "25 g"},
        ),
    ),
    "loss, guarded, nothing can pass": (
        "simulated-loss",
        loss({"limits": {"loss_error": {"within": "0.001 %"}}, **GUARDED}, instrument=BARE),
    ),
}


def asked(client: Any, name: str) -> Any:
    kind, request = REQUESTS[name]
    response = client.post(f"/v1/checks/{kind}?explain=true", json=request)
    assert response.status_code == 200, response.get_json()
    return response.get_json()


@pytest.mark.parametrize("name", REQUESTS)
def test_every_number_is_explained(name: str, client: Any, by_hand: Any) -> None:
    answer = asked(client, name)
    by_hand.check_answer(answer)
    by_hand.check_reasons(answer)
    for step in answer["explanation"]:
        for where in step["where"]:
            check_origin(where, REQUESTS[name][1], by_hand)


def check_origin(where: dict[str, str], request: dict[str, Any], by_hand: Any) -> None:
    """That a figure is what stands where it is said to come from."""
    kind, _, place = where["from"].partition(" ")
    if kind == "step":
        return  # held to its step already
    if kind == "setting" and "/" in where["figure"]:
        share = by_hand.at(request["profile"], "/rules/0/validity/weights_at_most/share")
        assert share == f"{where['figure']} of limit"
        return
    figure = Decimal(where["figure"])
    if kind == "request":
        said = by_hand.at(request, place)
        assert figure == (said if isinstance(said, int) else quantity(said)), where
    elif kind == "profile":
        identity, _, place = place.partition(" ")
        assert figure == in_base(by_hand.at(document(identity, request), place)), where
    elif kind == "setting":
        assert_setting(figure, place, request)
    elif kind == "table":
        weight_class, nominal = place.split(", ")
        assert figure == Decimal(MPE[weight_class][nominal]) / 1000, where
    else:
        assert kind == "rule"
        last = re.fullmatch(r"last digit of (\S+) (/\S+)", place)
        if last is None:
            assert figure == Decimal(RULES[place]), where
        else:
            number, unit = by_hand.at(document(last[1], request), last[2]).split(" ")
            digits = len(number.partition(".")[2])
            assert figure == Decimal(IN_BASE[unit]).scaleb(-digits), where


def assert_setting(figure: Decimal, place: str, request: dict[str, Any]) -> None:
    (rule,) = request["profile"]["rules"]
    said: Any = {**rule, "decision": {"guard_factor": "1", **rule.get("decision", {})}}
    for key in place.split("."):
        said = said[key]
    said = said["share"] if isinstance(said, dict) else said
    number = said.split(" ")[0]
    unit = Decimal(60) if said.endswith(" min") else 1
    assert figure == Decimal(number) * unit, (place, said)


def quantity(text: str) -> Decimal:
    return in_base(text) if " " in text else Decimal(text)


def document(identity: str, request: dict[str, Any]) -> Any:
    if identity == "weighworthy-general@1":
        return tomllib.loads(GENERAL.read_text("utf-8"))
    assert identity == "{id}@{revision}".format(**request["profile"])
    return request["profile"]


@pytest.mark.parametrize("name", [n for n in REQUESTS if n.startswith("example")])
def test_a_changed_figure_is_found(name: str, client: Any, by_hand: Any) -> None:
    """One digit of one figure, or of what it comes to: every step notices each of them."""
    steps = asked(client, name)["explanation"]
    for step in steps[:: 1 + len(steps) // 50]:
        for member in ("figures", "result"):
            digits = [m.start() for m in re.finditer("[0-9]", figures_only(step[member]))]
            for place in digits[:: max(1, len(digits) // 3)]:
                changed = deepcopy(step)
                text = step[member]
                other = str((int(text[place]) + 1) % 10)
                changed[member] = text[:place] + other + text[place + 1 :]
                with pytest.raises((AssertionError, SyntaxError)):
                    by_hand.check_step(changed)
        for i, where in enumerate(step["where"]):
            changed = deepcopy(step)
            changed["where"][i]["figure"] = other_than(where["figure"])
            with pytest.raises((AssertionError, SyntaxError)):
                by_hand.check_step(changed)


def other_than(figure: str) -> str:
    if figure.startswith('"'):
        return '"fail"' if figure == '"pass"' else '"pass"'
    return figure[:-1] + str((int(figure[-1]) + 1) % 10)


def figures_only(text: str) -> str:
    """The same with names blotted out, whose digits are none of a number."""
    return re.sub("[A-Za-z_][A-Za-z_0-9]*", lambda m: "_" * len(m[0]), text)


@pytest.mark.parametrize("place", ["criteria/0/value", "criteria/0/budget/2/contribution"])
def test_an_answer_that_shows_another_number_is_found(
    place: str, client: Any, by_hand: Any
) -> None:
    answer = asked(client, "example of simulated-loss")
    *path, last = place.split("/")
    by_hand.at(answer, "/" + "/".join(path))[last] *= 1 + 1e-9
    with pytest.raises(AssertionError):
        by_hand.check_answer(answer)


def test_a_number_without_a_step_is_found(client: Any, by_hand: Any) -> None:
    answer = asked(client, "example of simulated-loss")
    answer["results"]["new"] = 0.5
    with pytest.raises(AssertionError):
        by_hand.check_answer(answer)


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.slug)
def test_the_rest_of_the_answer_is_the_same(kind: Any, client: Any, conforms: Any) -> None:
    path = f"/v1/checks/{kind.slug}"
    plain = client.post(path, json=kind.example["request"])
    response = client.post(f"{path}?explain=true", json=kind.example["request"])
    conforms(path, "post", response.status_code, response.content_type, response.data)
    explained = response.get_json()
    assert explained.pop("explanation")
    assert explained == plain.get_json()
    off = client.post(f"{path}?explain=false", json=kind.example["request"])
    assert off.data == plain.data


@pytest.mark.parametrize(
    "query", ["explain=yes", "explain=true&explain=true", "explain=true&detail=short"]
)
def test_what_cannot_be_meant_is_refused(query: str, client: Any) -> None:
    kind = KINDS[0]
    response = client.post(f"/v1/checks/{kind.slug}?{query}", json=kind.example["request"])
    assert response.status_code == 422
    assert "explain" in json.dumps(response.get_json()["errors"])


def test_a_kind_without_explanation_says_so(client: Any) -> None:
    kind = replace(KINDS[0], package="json")  # which has no module of that name
    with (
        client.application.test_request_context("/?explain=true"),
        pytest.raises(Refusal, match="span checks have no explanation"),
    ):
        _explain(kind)
