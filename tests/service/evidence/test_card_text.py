from collections.abc import Callable
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
    assert f"profile kestrel-balances@2026-03 {example['profile']['digest']}" in " ".join(
        line for line in lines[-4:]
    )


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


def test_card_that_cannot_pass_says_so_first(made: Callable[..., dict[str, Any]]) -> None:
    rule = {
        "limits": {"span_error": {"within": "0.1 mg"}},
        "checks": ["span"],
        "decision": {"rule": "guarded"},
    }
    lines = card_text(made("span", rules=[rule])).splitlines()
    assert "NO DISPLAY PASSES WITH THESE WEIGHTS UNDER THIS PROFILE" in lines
    assert any("[NO]  Fail: any display" in line for line in lines)


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
