"""Documents as they were written: what TOML is refused, and where things stand."""

import pytest

from weighworthy_service.profiles.reading import read_profile
from weighworthy_service.profiles.source import (
    Place,
    Source,
    TomlUnreadable,
    place_in,
    read_toml,
)


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        ('id = "a"\nrevision = \n', 2, "column 12"),
        ("a = 1\n\n\nb = 2 3\n", 4, "column 7"),
        ('a = 1\nb = """\nopen\n', 3, "end of the text"),
        ("a = 1\na = 2\n", 2, "overwrite"),
        ("a = 1\nb = " + "[" * 4000, 2, "32 levels"),
        (
            "a = 1\nb" + "".join(f" = {{ b{i}" for i in range(40)) + " = 1" + "}" * 40,
            2,
            "32 levels",
        ),
        ('id = "a"\nrevision = "1"\n' + "a." * 60_000 + "b = 1", 3, "12 parts"),
        ("a = 1\n[" + "a." * 2_000 + "b]\n" + "x.y = 1\n" * 4_000, 2, "12 parts"),
        ("a = 1\n\nx = {" + "a." * 60_000 + "b = 1}", 3, "12 parts"),
        ("a = 1\n\nx =" + " {a =" * 4_000, 3, "32 levels"),
        # Less deep in lists and tables than a profile may be, but under a header of many parts.
        ("[a.b.c.d.e.f.g]\nx = " + "{a.b.c.d.e.f.g.h = " * 3 + "{}" + "}" * 3, 2, "32 levels"),
        ("a = 1\nb = 0x" + "f" * 400, 2, "beyond"),
        ("a = 1\nb = inf\n", 2, "beyond"),
        ("a = 1\nb = nan\n", 2, "beyond"),
        ("a = " + "9" * 5000, 1, "digits"),
        ("a = 1\nb = [" + "1," * 60_000 + "]", 1, "more than 50000 values"),
        ("\ufeffa = 1\n", 1, "column 1"),
    ],
)
def test_what_no_profile_could_be(text: str, line: int, words: str) -> None:
    with pytest.raises(TomlUnreadable) as caught:
        read_toml(text)
    assert caught.value.line == line
    assert words in caught.value.detail


def test_dates_become_texts() -> None:
    assert read_toml("effective_from = 2026-03-01") == {"effective_from": "2026-03-01"}


TEXT = """\
# Harbour
id = "harbour"
revision = "2026-03"

[extends]
id = "base"
revision = "1"

[[extends.rules]]   # 9
checks = ["span"]
limits.span_error.within = "3 mg"

[[rules]]           # 13
limits.span_error = { within = "2 mg" }
limits."point_error".within = "1 mg"
"""


@pytest.mark.parametrize(
    ("pointer", "line"),
    [
        ("", 1),
        ("/revision", 3),
        ("/extends/rules/0/limits/span_error", 11),
        ("/rules/0/limits/span_error/within", 14),
        ("/rules/0/limits/point_error", 15),
        ("/rules/7", 13),
        ("/no~1such", 1),
    ],
)
def test_lines_of_pointers(pointer: str, line: int) -> None:
    assert Source(read_toml(TEXT), TEXT).line_at(pointer) == line
    assert Source(read_toml(TEXT)).line_at(pointer) is None


def test_digits_are_a_position_in_a_list_and_a_name_in_an_object() -> None:
    text = '[limits]\n"0" = 1\n"a/b" = 2\n'
    source = Source(read_toml(text), text)
    assert source.line_at("/limits/0") == 2
    assert source.line_at("/limits/a~1b") == 3


def test_places_in_the_document_that_made_the_rule() -> None:
    source = Source(read_toml(TEXT), TEXT)
    profile = read_profile(source.document)
    base, own = profile.rules
    path = ("limits", "span_error")
    pointer = "/rules/0/limits/span_error"
    assert place_in(profile, source, base, path) == Place(pointer, 11, "base@1")
    assert place_in(profile, source, own, path) == Place(pointer, 14, "harbour@2026-03")
    assert place_in(profile, None, own, path) == Place(pointer, None, "harbour@2026-03")
    as_json = Source(source.document)
    assert place_in(profile, as_json, own, path) == Place(pointer, None, "harbour@2026-03")
    assert place_in(profile, source, None, ("revision",)).line == 3
    assert place_in(profile, source, None, ("use_on",)).line is None


def test_a_parent_that_was_not_sent_has_no_line() -> None:
    """It is named in the text, but its lines are those of another file."""
    from weighworthy_service.profiles.store import ProfileSet

    base = read_profile({"id": "base", "revision": "1", "rules": [{"checks": ["span"]}]})
    text = 'id = "harbour"\nrevision = "1"\nextends = "base@1"\n[[rules]]\nsites = ["harbour"]\n'
    source = Source(read_toml(text), text)
    profile = read_profile(source.document, ProfileSet.of([base]))
    assert place_in(profile, source, profile.rules[0], ("checks",)) == Place(
        "/rules/0/checks", None, "base@1"
    )
    assert place_in(profile, source, profile.rules[1], ("sites",)) == Place(
        "/rules/0/sites", 5, "harbour@1"
    )
