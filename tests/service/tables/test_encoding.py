import codecs
import io

import pytest

from weighworthy_service.tables.cells import TableNotUsable
from weighworthy_service.tables.encoding import look_through, text_lines

TEXT = "Gerät;°C;µg\r\nä;1;2\r\n"


def lines(data: bytes, encoding: str, limit: int = 1000) -> list[str]:
    return list(text_lines(io.BytesIO(data), encoding, limit))


@pytest.mark.parametrize(
    ("data", "stated", "encoding", "how"),
    [
        (TEXT.encode(), None, "utf-8", "found"),
        (codecs.BOM_UTF8 + TEXT.encode(), None, "utf-8", "found"),
        (TEXT.encode("utf-16"), None, "utf-16-le", "found"),
        (codecs.BOM_UTF16_BE + TEXT.encode("utf-16-be"), None, "utf-16-be", "found"),
        (TEXT.encode("cp1252"), None, "cp1252", "assumed"),
        (TEXT.encode("cp850", "replace"), "cp850", "cp850", "stated"),
        (TEXT.encode("mac-roman"), "mac-roman", "mac-roman", "stated"),
        (TEXT.encode("utf-16"), "utf-16", "utf-16-le", "stated"),
        (TEXT.encode("utf-16-be"), "utf-16-be", "utf-16-be", "stated"),
        (codecs.BOM_UTF8 + TEXT.encode(), "utf-8", "utf-8", "stated"),
    ],
)
def test_encodings_are_stated_marked_or_strict_utf_8(data, stated, encoding, how):
    text = look_through(io.BytesIO(data), stated)
    assert (text.encoding, text.how, text.lines, text.quotes) == (encoding, how, 2, False)
    assert "".join(lines(data, text.encoding)) == TEXT


@pytest.mark.parametrize(
    ("data", "stated", "code", "row"),
    [
        (b"", None, "table-empty", None),
        (b"\n \r\n\t\t\n", None, "table-empty", None),
        (codecs.BOM_UTF8, None, "table-empty", None),
        (codecs.BOM_UTF16_LE + "\n\n".encode("utf-16-le"), "utf-16", "table-empty", None),
        (b"\n" * (1 << 20), None, "table-empty", None),
        (b"a;b\n1;\0\n", None, "nul-byte", 2),
        (b"a;b\n1;\0\n", "cp1252", "nul-byte", 2),
        ("a;b\n1;\ufffd\n".encode(), None, "replacement-character", 2),
        (b"a;b\n\xe4;1\n", "utf-8", "encoding-not-utf-8", 2),
        (codecs.BOM_UTF8 + b"\xe4;1\n", None, "encoding-not-utf-8", 1),
        (b"a;b\n\x81;1\n", None, "encoding-unclear", None),
        (codecs.BOM_UTF8 + b"a", "cp1252", "encoding-differs", None),
        (b"a;b", "utf-16", "encoding-differs", None),
        (codecs.BOM_UTF16_LE + b"a", None, "encoding-differs", 1),
        ("a;b\n".encode("utf-16-le"), None, "nul-byte", 1),
    ],
)
def test_what_is_no_text_is_refused(data, stated, code, row):
    with pytest.raises(TableNotUsable) as caught:
        look_through(io.BytesIO(data), stated)
    [fault] = caught.value.errors
    assert (fault.code, fault.row) == (code, row)


def test_a_byte_that_is_not_utf_8_far_behind_is_seen():
    text = look_through(io.BytesIO(b"a;b\n" * 600_000 + b"\xe4;1\n"), None)
    assert (text.encoding, text.how, text.lines) == ("cp1252", "assumed", 600_001)


@pytest.mark.parametrize(
    ("data", "count"),
    [(b"a\nb\n", 2), (b"a\nb", 2), (b"a\r\nb\r\n", 2), (b"a\rb", 2), (b"\na\n", 2), (b"a\n\r", 2)],
)
def test_lines_are_counted_as_they_are_read(data, count):
    assert look_through(io.BytesIO(data), None).lines == count
    assert len(lines(data, "utf-8")) == count


def test_line_ends_across_the_pieces_of_the_first_pass_count_once():
    data = b"x" * ((1 << 20) - 1) + b"\r\n" + b"y\r\n"
    assert look_through(io.BytesIO(data), None).lines == 2


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("size", [10, 11, 12, 65_546, 65_547, 65_548, 200_000])
def test_a_line_that_is_too_long_is_cut_and_the_next_is_whole(size, end):
    data = ("a" + end + "x" * size + end + end + "next" + end).encode()
    read = lines(data, "utf-8", 10)
    assert read[0] == "a" + end
    assert read[1].rstrip("\r\n") == "x" * min(size, 11)
    assert len(read[1]) > 10
    assert read[2:] == [end, "next" + end]


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_the_line_of_a_byte_that_is_no_text(end):
    # 0x81 is none of Windows-1252, and alone none of UTF-8.
    data = f"a;b{end}".encode() * 22 + b"x\x81" + f"{end}c;d{end}".encode() * 9
    with pytest.raises(TableNotUsable) as caught:
        look_through(io.BytesIO(data), None)
    [fault] = caught.value.errors
    assert fault.code == "encoding-unclear"
    assert "line 23 " in fault.detail
