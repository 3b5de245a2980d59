"""Documents grown from values over constants, which stay as they are."""

from copy import deepcopy
from typing import Any

import pytest

from weighworthy_service.tables.growing import branch_of, grown

PATHS = [("a",), ("b", "c"), ("b", "d"), ("list", 0, "x"), ("list", 2, "x")]


@pytest.mark.parametrize(
    ("constants", "values", "document"),
    [
        ({}, [None] * 5, {}),
        ({}, [1, 2, None, None, None], {"a": 1, "b": {"c": 2}}),
        ({"a": 9, "b": {"c": 8, "e": 7}}, [None, 2, None, None, None],
         {"a": 9, "b": {"c": 2, "e": 7}}),
        ({}, [None, None, None, 1, None], {"list": [{"x": 1}]}),
        ({}, [None, None, None, None, 1], {"list": [{}, {}, {"x": 1}]}),
        ({"list": [{"y": 0}]}, [None] * 5, {"list": [{"y": 0}]}),
        ({"list": [{"y": 0}, {"y": 1}]}, [None, None, None, 5, 6],
         {"list": [{"y": 0, "x": 5}, {"y": 1}, {"x": 6}]}),
        # Of the third entry only the constants speak, and of the first and third no cell does.
        ({"list": [{"y": 0}, {}, {"y": 1}]}, [None, None, None, 5, None],
         {"list": [{"y": 0, "x": 5}, {}]}),
        ({"list": [{"y": 0}, {}, {"y": 1}]}, [None, None, None, 5, 0],
         {"list": [{"y": 0, "x": 5}, {}, {"y": 1, "x": 0}]}),
        ({"list": [{"y": 0}, {}, {}, {"y": 1}]}, [None] * 5,
         {"list": [{"y": 0}, {}, {}, {"y": 1}]}),
        ({"b": {}}, [None] * 5, {"b": {}}),
        ({"list": []}, [None] * 5, {"list": []}),
        ({}, [False, 0, "", None, None], {"a": False, "b": {"c": 0, "d": ""}}),
    ],
)  # fmt: skip
def test_values_grow_over_constants(
    constants: dict[str, Any], values: list[Any], document: dict[str, Any]
) -> None:
    before = deepcopy(constants)
    assert grown(branch_of(PATHS), constants, values) == document
    assert constants == before


def test_a_whole_object_takes_the_place_of_the_constants_and_members_go_over_it() -> None:
    branch = branch_of([("instrument",), ("instrument", "site")])
    constants = {"instrument": {"id": "any", "site": "harbour", "model": "m"}}
    assert grown(branch, constants, [{"id": "MA-07"}, "valley"]) == {
        "instrument": {"id": "MA-07", "site": "valley"}
    }
    assert grown(branch, constants, [None, "valley"]) == {
        "instrument": {"id": "any", "site": "valley", "model": "m"}
    }


def test_what_no_value_changes_is_the_same_object_in_every_document() -> None:
    constants = {"profile": {"id": "own"}, "b": {"c": 1}}
    document = grown(branch_of(PATHS), constants, [1, 2, 3, 4, 5])
    assert document["profile"] is constants["profile"]
    assert document["b"] is not constants["b"]
