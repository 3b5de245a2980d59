import re
from collections.abc import Callable
from importlib.resources import files
from typing import Any

from weighworthy_service.evidence.card_page import card_page
from weighworthy_service.evidence.card_view import card_view
from weighworthy_service.evidence.page_size import SIZES, page_size


def test_more_to_say_is_set_smaller(
    made: Callable[..., dict[str, Any]], lengthy: Callable[..., dict[str, Any]]
) -> None:
    rules = [{"checks": ["span"], "limits": {"span_error": {"within": "4 mg"}}}]
    little, much = made("span", rules=rules), lengthy("span")
    sizes = [page_size(card_view(card)) for card in (little, made("linearity"), much)]
    assert sizes == sorted(sizes)
    assert sizes[0] < sizes[1] < sizes[2]
    assert f'class="size{sizes[2]}"' in card_page(much)


def test_style_sheet_has_the_same_sizes() -> None:
    style = files("weighworthy_service.evidence").joinpath("templates", "card.css").read_text()
    stated = {
        int(i): float(zoom) for i, zoom in re.findall(r"\.size(\d) \{ zoom: ([\d.]+); \}", style)
    }
    assert {i: stated.get(i, 1.0) for i in range(len(SIZES))} == dict(enumerate(SIZES))
    assert max(stated) < len(SIZES)
