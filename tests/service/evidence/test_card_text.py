import re
from collections.abc import Callable
from datetime import date
from typing import Any

import pytest

from weighworthy_service.evidence.card_text import WIDTH, card_text
from weighworthy_service.evidence.card_view import range_text

SLUGS = ["span", "linearity", "simulated-loss"]


def test_published_example(example: dict[str, Any]) -> None:
    lines = card_text(example).splitlines()
    assert "BENCH CARD: SPAN" + "MA-07".rjust(WIDTH - 16) in lines
    at = lines.index("   Display:")
    assert (
        lines[at - 2] == "2. Put on A20 (20 g), in the middle of the pan. Wait until the display is"
    )
    # 20.00012 g ± 4 mg: 19.99612 to 20.00412 g.
    assert lines[at + 1] == "     [OK]  Pass: 19.997 g to 20.004 g"
    assert "1. Clean pan and weights, tare, and do the whole check again, at most 2 times." in lines
    assert lines[-3:-1] == [
        "profile kestrel-balances@2026-03 (Invented limits of Kestrel Mill Foods)",
        f"  {example['profile']['digest']}",
    ]


@pytest.mark.parametrize("slug", SLUGS)
def test_80_columns_and_every_range(slug: str, made: Callable[..., dict[str, Any]]) -> None:
    card = made(slug)
    text = card_text(card)
    assert max(map(len, text.splitlines())) <= WIDTH
    assert text.endswith("\n")
    assert not any(line.endswith(" ") for line in text.splitlines())
    flat = " ".join(text.split())
    shown = [range_text(band) for reading in card["readings"] for band in reading["bands"]]
    assert len(shown) > 3
    assert all(one in flat for one in shown)
    assert all(word in flat for word in ("[OK]", "[ok?]", "[NO]", "Conditional pass"))


def test_long_names_are_wrapped_and_not_cut(made: Callable[..., dict[str, Any]]) -> None:
    name = "the balance by the window of the second laboratory " * 3
    text = card_text(made("span", id=name.strip()))
    assert max(map(len, text.splitlines())) <= WIDTH
    assert name.strip() in " ".join(text.split())


STOPS: dict[str, tuple[list[dict[str, Any]], str]] = {
    "limits": (
        [
            {
                "checks": ["span"],
                "limits": {"span_error": {"within": "0.1 mg"}},
                "decision": {"rule": "guarded"},
            }
        ],
        "CANNOT PASS",
    ),
    "none": ([{"response": [{"step": "repeat"}]}], "JUDGES NOTHING"),
}


@pytest.mark.parametrize("why", STOPS)
def test_card_that_cannot_pass_has_no_steps_to_go_on_with(
    why: str, made: Callable[..., dict[str, Any]]
) -> None:
    rules, title = STOPS[why]
    lines = card_text(made("span", rules=rules)).splitlines()
    assert f"# DO NOT START: THIS CHECK {title}" in lines
    assert lines.index("WHY") < lines.index("WHAT TO DO")
    assert not {"STEPS", "BEFORE", "IF IT DOES NOT PASS"} & set(lines)
    assert not any("[" in line for line in lines)


@pytest.mark.parametrize("slug", SLUGS)
def test_void_is_no_fail(slug: str, made: Callable[..., dict[str, Any]]) -> None:
    text = card_text(made(slug, day=date(2027, 6, 1)))
    flat = " ".join(text.split())
    assert "# DO NOT START: THIS CHECK CANNOT COUNT" in text
    assert "was due for calibration on 2027-05-31" in flat
    assert "Use weights that are in date" in flat
    assert "neither passed nor failed" in flat
    assert "Fail" not in flat
    assert "Go on" not in flat
    assert "out of use" not in flat


def test_every_load_has_its_own_display(made: Callable[..., dict[str, Any]]) -> None:
    rules = [{"checks": ["linearity"], "limits": {"point_error": {"within": "4 mg"}}}]
    for count in (1, 2, 3):
        loads = {"load": (("A2",), ("A10",), ("A20",))[:count]}
        lines = card_text(made("linearity", rules=rules, loads=loads)).splitlines()
        rows = [line for line in lines if "[OK]" in line and "g to" in line]
        assert [row.split()[0] for row in rows] == ["A2", "A10", "A20"][:count]


def test_limits_on_the_whole_run(made: Callable[..., dict[str, Any]]) -> None:
    limits = {"independent_nonlinearity": {"lower": "-1 mg", "upper": "2 mg"}}
    flat = " ".join(
        card_text(made("linearity", rules=[{"checks": ["linearity"], "limits": limits}])).split()
    )
    assert "departure from the best free line from -1 mg to +2 mg" in flat
    assert "Put on in turn A2 (2 g); A10 (10 g)" in flat
    assert "[NO]" not in flat


def test_figures_of_both_stages(made: Callable[..., dict[str, Any]]) -> None:
    lines = card_text(made("span")).splitlines()
    said = [line for line in lines if line.startswith("Span error")]
    assert len(said) == 2
    assert said[0].startswith("Span error before any adjustment: within 5 mg; U = ")
    assert said[1].startswith("Span error after an adjustment: within 5 mg; U = ")


def test_at_best_on_condition(made: Callable[..., dict[str, Any]]) -> None:
    # U is above 1.4 mg by digitisation, repeatability and buoyancy of 50 g.
    rule = {
        "checks": ["span"],
        "limits": {"span_error": {"within": "1.4 mg"}},
        "decision": {"rule": "four-way"},
    }
    lines = card_text(made("span", rules=[rule])).splitlines()
    assert "AT BEST THIS CHECK GETS A CONDITIONAL PASS." in lines
    assert "     [ok?] Conditional pass: 49.999 g to 50.001 g" in lines
    assert not any(line.startswith("[OK]") for line in lines)
    assert any(line.startswith("[NO]  Fail or conditional fail:") for line in lines)


@pytest.mark.parametrize("slug", SLUGS)
def test_longest_names_are_all_there(slug: str, lengthy: Callable[..., dict[str, Any]]) -> None:
    text = card_text(lengthy(slug))
    assert max(map(len, text.splitlines())) <= WIDTH
    joined = "".join(text.split())
    assert all(re.search(rf"{i:02d}\([0-9]+g,OIMLF1,KMF", joined) for i in range(10))


@pytest.mark.parametrize(
    ("first", "last", "said"),
    [
        ("1.0 g", "2.0 g", "1.0 g to 2.0 g"),
        ("1.0 g", "1.0 g", "1.0 g only"),
        (None, "2.0 g", "2.0 g or less"),
        ("1.0 g", None, "1.0 g or more"),
        (None, None, "whatever is displayed"),
    ],
)
def test_ranges_in_words(first: str | None, last: str | None, said: str) -> None:
    assert range_text({"from": first, "to": last}) == said


def test_display_above_the_capacity_is_told_from_a_fail(
    made: Callable[..., dict[str, Any]],
) -> None:
    rules = [{"checks": ["span"], "limits": {"span_error": {"within": "4 mg"}}}]
    lines = card_text(made("span", rules=rules, capacity="50.002 g")).splitlines()
    assert any(line.startswith("[NO]  Fail: any other display outside") for line in lines)
    assert any(line.startswith("[--]  Void: counts for nothing, like any") for line in lines)


def test_loads_of_the_same_figures_are_said_once(made: Callable[..., dict[str, Any]]) -> None:
    rules = [{"checks": ["linearity"], "limits": {"point_error": {"within": "4 mg"}}}]
    loads = {"load": (("A2",), ("A10",), ("A50",))}
    lines = card_text(made("linearity", rules=rules, loads=loads)).splitlines()
    said = [line.partition(":")[0] for line in lines if line.startswith("Point error")]
    # 2 and 10 g have the same U to two digits, and 50 g a larger one.
    assert said[-2:] == ["Point error at 2 g and 10 g", "Point error at 50 g"]
