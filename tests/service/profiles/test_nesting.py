"""How deep a text goes before it is read; the standard library's reader is the judge of TOML."""

import time
import tomllib
from contextlib import suppress
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from weighworthy_service.profiles import nesting
from weighworthy_service.profiles.nesting import MAX_DEPTH, MAX_PARTS, first_excess

TWELVE = ".".join("abcdefghijkl")
PARTS, LEVELS = "more than 12 parts", "deeper than 32 levels"


def test_the_figures_that_the_cases_below_are_counted_for() -> None:
    assert (MAX_PARTS, MAX_DEPTH) == (12, 32)


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        (f"\n{TWELVE}.m = 1\n", 2, PARTS),
        (f"a = 1\r\n[{TWELVE}.m]\r\n", 2, PARTS),
        (f"[[ {TWELVE} . m ]]\n", 1, PARTS),
        (f"[x]\n# .\n'' = {{ {TWELVE}.m = 1 }}\n", 3, PARTS),
        (f"x = [\n1.5,\n{{ a.b = 1, {TWELVE}.m = 1 }}]\n", 3, PARTS),
        ("".join(f'"{part}".' for part in "abcdefghijkl") + "'m' = 1", 1, PARTS),
        (f'x = """\n# " \'\\"""\n""""\n{TWELVE}.m = 1\n', 4, PARTS),
        (f"x = '''\n\\''''\n{TWELVE}.m = 1\n", 3, PARTS),
        # The innermost of 33 lists lies at a key and 32 positions.
        ("\nx =\t" + "[" * 33 + "]" * 33, 2, LEVELS),
        # Every table lies as many levels further down as its key has parts: 4 times 8.
        ("x = " + "{ a.b.c.d.e.f.g.h = " * 5 + "1" + "}" * 5, 1, LEVELS),
        (
            "a.a.a.a.a.a.a.a = { a.a.a.a.a.a.a.a = { b.b.b.b.b.b.b.b = { c.c.c.c.c.c.c.c = [",
            1,
            LEVELS,
        ),
    ],
)
def test_the_line_that_goes_too_deep(text: str, line: int, words: str) -> None:
    found = first_excess(text)
    assert found is not None
    assert found[0] == line
    assert words in found[1]


@pytest.mark.parametrize(
    "text",
    [
        f"{TWELVE} = 1.5\n[x.{TWELVE[2:]}]\n[[y.{TWELVE[2:]}]]\n",
        f"x = [{'1.5, ' * 50}{{ {TWELVE} = 07:32:00.5 }}, {'2.5, ' * 50}]\n",
        f"x = {{ {TWELVE} = 1.5, b = 2020-01-01T00:00:00.5+01:00 }}\n",
        '"' + "a." * 50 + "\" = 1\n'" + "b." * 50 + "' = 2\n",
        "a = 1 # " + "a." * 50 + '"\nb = 2 # """\n#' + "[" * 50 + "\n",
        'a = "' + "a." * 50 + '\\"' + "[" * 50 + '"\nb = "\\\\"\n',
        'a = """' + "a." * 50 + '\n"" \\""" ' + "[" * 50 + '"""\n',
        'a = """' + "a." * 50 + '"""""\nb = 1\n',
        "a = '''" + "a." * 50 + "\n'' \\" + "[" * 50 + "'''''\nb = 1\n",
        "a = ''\nb = \"\"\nc = ''''''\nd = \"\"\"\"\"\"\n",
        "x = " + "[" * 31 + "]" * 31,
        "[a]\n" + "".join(f"[[a.b{i}]]\nx = [[1], [2]]\n" for i in range(50)),
        "x = [" + "[[1], {a = {b = 1}}]," * 50 + "]\n",
    ],
)
def test_no_toml_is_misjudged(text: str) -> None:
    tomllib.loads(text)  # the text is TOML
    assert first_excess(text) is None


@pytest.mark.parametrize("text", ["", "[", "]]]]", '"', "'", '"""', "'''a", '"\\', "a = '''", "}="])
def test_what_is_no_toml_is_left_to_the_reader(text: str) -> None:
    with pytest.raises(tomllib.TOMLDecodeError):
        tomllib.loads(text + "\n=")
    assert first_excess(text) is None


KEYS = st.one_of(
    st.sampled_from(["a", "b-1", "1", '"x.y"', "'[['", '"#\\""', "''", '"\\\\"', "'\"'", "\"'''\""])
)
TEXTS = st.sampled_from(
    ['"."', '"""a.a.a\n""."""""', "'''\n[[[.'''''", "'\\'", '"\\"{"', '""', "''''''", '"""\\""""']
)
SCALARS = st.one_of(TEXTS, st.sampled_from(["1.5", "07:32:00.5", "true", "2020-01-01", "-1e3"]))
GAPS = st.sampled_from(["", " ", "\t "])
BREAKS = st.sampled_from(["", "\n", " # a.a.a.a \" ''' [\n", "\r\n"])


@st.composite
def dotted(draw: Any, first: str | None = None) -> tuple[str, int]:
    """A key and how many parts it has."""
    parts = draw(st.lists(KEYS, min_size=1, max_size=6))
    if first is not None:
        parts[0] = first
    return f"{draw(GAPS)}.{draw(GAPS)}".join(parts), len(parts)


@st.composite
def value(draw: Any, at: int, levels: int = 3) -> tuple[str, int, int]:
    """A value at a depth, the most parts of a key in it, how deep lists and tables in it lie."""
    form = draw(st.integers(0, 2)) if levels else 0
    if form == 0:
        return draw(SCALARS), 0, 0
    written, most, deepest = [], 0, at
    for position in range(draw(st.integers(0, 3))):
        key, parts = draw(dotted(f"k{position}")) if form == 1 else ("", 1)
        inside, most_inside, deepest_inside = draw(value(at + parts, levels - 1))
        gap = draw(BREAKS) if form == 2 else draw(GAPS)
        written.append(f"{gap}{key} = {inside}" if form == 1 else f"{gap}{inside}{draw(BREAKS)}")
        most, deepest = max(most, parts, most_inside), max(deepest, deepest_inside)
    opened, closed = "{}" if form == 1 else "[]"
    return f"{opened}{','.join(written)}{closed}", most, deepest


@st.composite
def documents(draw: Any) -> tuple[str, int, int]:
    """A TOML text, the most parts of a key, and how deep lists and tables below a pair lie."""
    lines, most, deepest = [], 0, 0
    for number in range(draw(st.integers(0, 5))):
        if draw(st.booleans()):
            key, parts = draw(dotted(f"t{number}"))
            lines.append(draw(st.sampled_from([f"[{key}]", f"[[ {key} ]] # ]]].a.b.c"])))
        else:
            key, parts = draw(dotted(f"p{number}"))
            inside, most_inside, deep = draw(value(parts))
            lines.append(f"{key} = {inside} {draw(st.sampled_from(['', '# a.b.c.[d']))}")
            most, deepest = max(most, most_inside), max(deepest, deep)
        most = max(most, parts)
        lines.append(draw(st.sampled_from(["", "# it's \"", "\t"])))
    return "\n".join(lines), most, deepest


@settings(max_examples=400)
@given(documents())
def test_any_document_is_refused_if_it_goes_too_deep_and_never_otherwise(document) -> None:
    text, most, deepest = document
    tomllib.loads(text)  # the text is TOML
    with pytest.MonkeyPatch.context() as small:
        for parts, depth in ((3, 99), (99, 6), (4, 8)):
            small.setattr(nesting, "MAX_PARTS", parts)
            small.setattr(nesting, "MAX_DEPTH", depth)
            beyond = most > parts or deepest >= depth
            assert (first_excess(text) is not None) == beyond


PIECES = st.sampled_from(
    [
        *("a", ".", "a.a.a.a", "=", "a = ", "\na.b.c.d.e = 1\n", "1.5", "é", " ", ","),
        *("[", "]", "[[", "{", "}", "#", "\\", '\\"', "\n", "\r\n", "\r"),
        *('"', "'", '""', '"""', "'''", '"a"'),
    ]
)


@settings(max_examples=1500)
@given(st.lists(PIECES, max_size=14).map("".join))
def test_the_reader_never_meets_a_longer_key_in_what_has_passed(text: str) -> None:
    """Whatever the text is: a fault in it must not hide a key from the scan alone."""
    met = [0]
    with pytest.MonkeyPatch.context() as watched:
        watched.setattr(nesting, "MAX_PARTS", 3)
        read_key = tomllib._parser.parse_key

        def parse_key(src: str, pos: int) -> tuple[int, tuple[str, ...]]:
            end, key = read_key(src, pos)
            met.append(len(key))
            return end, key

        watched.setattr(tomllib._parser, "parse_key", parse_key)
        passed = first_excess(text) is None
        with suppress(tomllib.TOMLDecodeError):
            tomllib.loads(text)
    assert not passed or max(met) <= 3


@pytest.mark.parametrize(
    ("begin", "unit", "end"),
    [
        ('x = """', '\\"', ""),
        ('x = """', '"" ', '"""'),
        ("x = '''", "'' ", ""),
        ('x = "', "\\n", '"'),
        ("", '""', ""),
        ("", "''", ""),
        ("", "'a'\n", ""),
        ("x = [", "1.5,", "]"),
        ("", "a.b = 1\n", ""),
        ("", "[a]\n", ""),
        ("", "#\n", ""),
        ("", "]", ""),
        ("", "a", ""),
        ("", "a.", ""),
    ],
)
def test_the_time_grows_with_the_text(begin: str, unit: str, end: str) -> None:
    """Two megabytes in some seconds: what grows with the square would take hours."""
    text = begin + unit * (2_000_000 // len(unit)) + end
    started = time.process_time()
    first_excess(text)
    assert time.process_time() - started < 20
