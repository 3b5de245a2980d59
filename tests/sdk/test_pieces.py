"""Where a file is cut: between records, and never where that is not sure."""

import pytest

from weighworthy.pieces import Head, beginning, cut, head_of, scan


@pytest.fixture
def file(tmp_path):
    def made(content):
        path = tmp_path / "table.csv"
        path.write_bytes(content)
        return path

    return made


def pieces(path, size, *, header_row=1, delimiter=";", quotes=True):
    head = head_of(path, delimiter, "utf-8", header_row)
    raw = path.read_bytes()
    found = list(cut(path, head, delimiter=delimiter, encoding="utf-8", quotes=quotes, size=size))
    return [(piece.first_row, raw[piece.offset : piece.offset + piece.length]) for piece in found]


@pytest.mark.parametrize(
    ("content", "plain", "quotes", "odd"),
    [
        (b"a;b\r\n1;2\r\n", True, False, None),
        (b'a;"b"\n', True, True, None),
        (b"a;b\0\n", False, False, None),
        (b"a\xef\xbf\xbd\n", False, False, None),
        (b"a;b\r1;2\r", False, False, None),
        (b"a;b\n1;2\rx\n", False, False, None),
        (b"a;b\nB\xfcro;2\nc;d\n", True, False, b"B\xfcro;2\n"),
        # The end of the file in the middle of a character.
        (b"a;b\n1;\xc3", True, False, b"1;\xc3"),
    ],
)
def test_a_look_through_the_whole_file(file, content, plain, quotes, odd):
    found = scan(file(content))
    assert (found.size, found.plain, found.quotes) == (len(content), plain, quotes)
    assert found.odd_line == odd


@pytest.mark.parametrize("before", [1024 * 1024 - 2, 1024 * 1024 - 1, 1024 * 1024])
def test_a_character_over_two_steps_is_whole(file, before):
    assert scan(file(b"x" * before + "€\r\n".encode())).odd_line is None
    # A line feed that follows its carriage return in the next step.
    assert scan(file(b"x" * before + b"\r\n")).plain
    assert not scan(file(b"x" * before + b"\rx\n")).plain
    odd = scan(file(b"a\n" + b"x" * before + b"\n\xe2\x82x;y\nb\n")).odd_line
    assert odd == b"\xe2\x82x;y\n"


def test_the_first_piece_has_all_that_comes_first(file):
    path = file(b"\xef\xbb\xbfTitle\n\na;b\n1;2\n3;4\n5;6\n")
    assert head_of(path, ";", "utf-8", 3) == Head(3, b"a;b\n", 14, 4)
    assert pieces(path, 4, header_row=3) == [
        (1, b"\xef\xbb\xbfTitle\n\na;b\n1;2\n"),
        (5, b"3;4\n"),
        (6, b"5;6\n"),
    ]


@pytest.mark.parametrize("line", [b"sep=%b\r\n", b"SEP=%b\n", b"\xef\xbb\xbfsep=%b \t\r\n"])
@pytest.mark.parametrize("mark", [b";", b"\t"])
def test_a_line_that_names_the_delimiter_is_no_row(file, line, mark):
    begin, header = line % mark, b"a%bb\r\n" % mark
    path = file(begin + header + b"1%b2\r\n3%b4\r\n" % (mark, mark))
    first, behind = len(begin), len(begin + header)
    assert head_of(path, mark.decode(), "utf-8", 1) == Head(first, header, behind, 2)
    assert head_of(path, mark.decode(), "utf-8", 0) == Head(first, b"", first, 1)


def test_a_line_that_names_no_delimiter_is_a_row(file):
    assert head_of(file(b"sep=\n1;2\n"), ";", "utf-8", 1) == Head(0, b"sep=\n", 5, 2)


@pytest.mark.parametrize("quotes", [True, False])
def test_a_last_line_without_end_counts(file, quotes):
    found = pieces(file(b"a;b\n1;2\n3;4"), 1, quotes=quotes)
    assert found == [(1, b"a;b\n1;2\n"), (3, b"3;4")]


def test_a_table_of_a_header_alone_is_one_piece(file):
    assert pieces(file(b"a;b\n"), 1) == [(1, b"a;b\n")]


def test_a_record_over_several_lines_is_not_cut(file):
    path = file(b'a;b\n"1\n1";2\n3;4\n')
    assert pieces(path, 1) == [(1, b'a;b\n"1\n1";2\n'), (3, b"3;4\n")]


def test_a_quote_without_fellow_costs_its_line_only(file):
    broken = b'"open;1\n'
    rest = b"".join(b"%d;2\n" % n for n in range(10_000))
    found = pieces(file(b"a;b\n" + broken + rest), 1)
    assert found[0] == (1, b"a;b\n" + broken)
    assert found[1:3] == [(3, b"0;2\n"), (4, b"1;2\n")]
    assert len(found) == 10_001


def test_a_missing_header_row_is_an_error(file):
    with pytest.raises(ValueError, match="has no row 9"):
        head_of(file(b"a;b\n"), ";", "utf-8", 9)


def test_the_beginning_shows_what_is_not_utf_8(file):
    path = file(b"a;b\n" + b"1;2\n" * 5000 + b"3;\xfc\n" + b"4;5\n")
    shown = beginning(path, scan(path))
    assert shown.count(b"\n") == 1101
    assert shown.endswith(b"1;2\n3;\xfc\n")
