"""Lines of TOML values. Every expected line is counted by hand, or noted while the text is laid."""

import tomllib
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weighworthy_service.profiles.lines import line_of

TEXT = '''\
# A comment before anything.
id = "harbour"   # line 2
title = """
rules = "not a key"
[[rules]]
"""
description = \'\'\'one \'quoted\' line\'\'\'
use_on = [ # line 8
  "pass",

  # between
  "conditional-pass", ]
meta.author."first name" = "K."

[[rules]]   # line 15
checks = ["span", "linearity"]
limits.span_error = { within = "2 d", source = "a ] } [" }
limits.zero_return.within = "1 d"
validity = { warm_up = { at_least = "30 min", else = "void" }, stable = "void" }

[rules.limits.point_error]   # line 21
bands = [
  { up_to = "5000 e", within = "0.5 e" },
  { up_to = "20000 e", within = """
1 e""" },
]

# About the next rule.
[[rules]]

[[rules.response]]   # line 31
step = "repeat"
[[rules.response]]
step = "adjust"
[rules.decision]
"rule" = "guarded"
'guard_factor' = "1"
"cover\\u0061ge" = "95 %"
'''


@pytest.mark.parametrize(
    ("path", "line"),
    [
        ((), 1),
        (("id",), 2),
        (("title",), 3),
        (("description",), 7),
        (("use_on",), 8),
        (("use_on", 0), 9),
        (("use_on", 1), 12),
        (("meta", "author", "first name"), 13),
        (("meta", "author"), 13),
        (("rules",), 15),
        (("rules", 0), 15),
        (("rules", 0, "checks", 1), 16),
        (("rules", 0, "limits", "span_error", "source"), 17),
        (("rules", 0, "limits"), 17),
        (("rules", 0, "limits", "zero_return"), 18),
        (("rules", 0, "limits", "zero_return", "within"), 18),
        (("rules", 0, "validity", "warm_up", "else"), 19),
        (("rules", 0, "limits", "point_error"), 21),
        (("rules", 0, "limits", "point_error", "bands"), 22),
        (("rules", 0, "limits", "point_error", "bands", 0, "within"), 23),
        (("rules", 0, "limits", "point_error", "bands", 1), 24),
        (("rules", 0, "limits", "point_error", "bands", 1, "within"), 24),
        (("rules", 1), 29),
        (("rules", 1, "response"), 31),
        (("rules", 1, "response", 0, "step"), 32),
        (("rules", 1, "response", 1), 33),
        (("rules", 1, "response", 1, "step"), 34),
        (("rules", 1, "decision"), 35),
        (("rules", 1, "decision", "rule"), 36),
        (("rules", 1, "decision", "guard_factor"), 37),
        (("rules", 1, "decision", "coverage"), 38),
    ],
)
def test_every_way_to_write_a_value(path: tuple[str | int, ...], line: int) -> None:
    tomllib.loads(TEXT)  # the text is TOML
    assert line_of(TEXT, path) == line


@pytest.mark.parametrize(
    ("path", "line"),
    [(("revision",), 1), (("rules", 1, "limits", "x"), 29), (("rules", 7), 15), (("id", 3), 2)],
)
def test_what_is_not_written_has_the_line_of_what_is_around_it(path, line) -> None:
    assert line_of(TEXT, path) == line


@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_line_ends_of_either_system(end: str) -> None:
    assert line_of(f"a = 1{end}# c{end}b = 2{end}", ("b",)) == 3


def test_signs_of_more_than_one_byte_and_tabs() -> None:
    assert line_of('title = "µg °C ± 秤"\n\t"schlüssel" = 1\n', ("schlüssel",)) == 2


@pytest.mark.parametrize(
    "text",
    ["", "[[[", "a = ", "\x00", "= 1", '"\\x" = 1', "[a\nb = [1", "a.b.=1", '"a\nb = 1', "\ud800"],
)
def test_a_broken_text_has_a_line_all_the_same(text: str) -> None:
    assert line_of(text, ("a", 0, "b")) in (1, 2)


def test_depth_and_size_do_no_harm() -> None:
    deep = "a = " + "[" * 50_000 + "]" * 50_000 + "\nb = 1\n"
    assert line_of(deep, ("b",)) == 2
    dotted = ".".join("a" * 50_000)
    assert line_of(f"{dotted} = 1\n[{dotted}.b]\nc = 1\n", ("a",) * 60) == 1
    wide = "".join(f"k{i} = {i}\n" for i in range(20_000))
    assert line_of(wide, ("k19999",)) == 20_000


# A text is laid down piece by piece; each piece knows the lines of its values.
names = st.text("abcdefgh-", min_size=1, max_size=4)


@st.composite
def laid_texts(draw: Any) -> tuple[str, dict[tuple[str | int, ...], int]]:
    lines: list[str] = []
    at: dict[tuple[str | int, ...], int] = {}

    def filler() -> None:
        between = st.sampled_from(["", "# k = 1", "  # [[rules]]", "\t"])
        lines.extend(draw(st.lists(between, max_size=2)))

    def pair(table: tuple[str | int, ...], key: str) -> None:
        filler()
        at[(*table, key)] = len(lines) + 1
        form = draw(st.integers(0, 4))
        if form == 0:
            lines.append(f"{key} = 1 # k = [")
        elif form == 1:
            lines.extend([f'{key} = """', "k = 1", '[[rules]]"""'])
        elif form == 2:
            lines.append(f"'{key}' = [")
            for position in range(draw(st.integers(0, 3))):
                filler()
                at[(*table, key, position)] = len(lines) + 1
                lines.append('"]" ,')
            lines.append("]")
        elif form == 3:
            at[(*table, key, "x")] = at[(*table, key, "y")] = len(lines) + 1
            at[(*table, key, "y", "z")] = len(lines) + 1
            lines.append(f'"{key}" = {{ x = "}}", y.z = 2 }}')
        else:
            at[(*table, key, "x y")] = len(lines) + 1
            lines.append(f'{key} . "x y" = 1979-05-27')

    for key in draw(st.lists(names, unique=True, max_size=3)):
        pair((), "t" + key)
    for number in range(draw(st.integers(0, 3))):
        filler()
        at[("rules", number)] = len(lines) + 1
        lines.append("[[ rules ]]")
        for key in draw(st.lists(names, unique=True, max_size=3)):
            pair(("rules", number), "p" + key)
        if draw(st.booleans()):
            filler()
            at[("rules", number, "sub")] = len(lines) + 1
            lines.append("[rules.sub]")
            for key in draw(st.lists(names, unique=True, max_size=2)):
                pair(("rules", number, "sub"), "q" + key)
    return "\n".join(lines), at


@given(laid_texts())
def test_any_mixture_of_forms(laid) -> None:
    text, at = laid
    tomllib.loads(text)
    assert {path: line_of(text, path) for path in at} == at
