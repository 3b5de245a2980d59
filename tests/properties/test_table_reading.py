"""Any table that the standard library writes is read back as it was, and every row is accounted."""

import codecs
import csv
import io

from hypothesis import assume, given, reject, settings
from hypothesis import strategies as st

from weighworthy_service.tables.cells import BadRow, SkippedRow, TableNotUsable
from weighworthy_service.tables.reading import open_csv
from weighworthy_service.tables.table_section import TableLimits, TableSection

LAW = settings(max_examples=150, deadline=None, derandomize=True)
# Anything but what is refused in any table, and halves of characters, which no encoding has.
TEXT = st.text(
    st.characters(exclude_characters="\0\ufffd\ufeff", exclude_categories=["Cs"]), max_size=8
)
ENCODINGS = {
    "utf-8": "utf-8",
    "utf-8-sig": "utf-8",
    "utf-16": "utf-16-le",
    "utf-16-be": "utf-16-be",
}


@LAW
@given(
    table=st.integers(2, 5).flatmap(
        lambda width: st.lists(st.lists(TEXT, min_size=width, max_size=width), max_size=8)
    ),
    delimiter=st.sampled_from(";,\t|"),
    quoting=st.sampled_from([csv.QUOTE_MINIMAL, csv.QUOTE_ALL, csv.QUOTE_NONNUMERIC]),
    end=st.sampled_from(["\r\n", "\n"]),
    encoding=st.sampled_from(sorted(ENCODINGS)),
    titles=st.integers(0, 3),
)
def test_what_was_written_is_read_back(*, table, delimiter, quoting, end, encoding, titles):
    # The writer may leave a mere carriage return unquoted beside other line ends.
    assume(end == "\r\n" or not any("\r" in cell for cells in table for cell in cells))
    width = len(table[0]) if table else 3
    header = [f"Column {number}" for number in range(width)]
    text = io.StringIO()
    writer = csv.writer(text, delimiter=delimiter, quoting=quoting, lineterminator=end)
    writer.writerows([["Kestrel Mill Foods"]] * titles)
    writer.writerow(header)
    writer.writerows(table)
    mark = codecs.BOM_UTF16_BE if encoding == "utf-16-be" else b""
    file = io.BytesIO(mark + text.getvalue().encode(encoding))
    try:
        opened = open_csv(file, TableSection(), header)
    except TableNotUsable as error:
        # A few odd rows may look like a table under another delimiter, and then it asks.
        if error.errors[0].code != "delimiter-unclear":
            raise
        reject()
    rows = list(opened.rows())
    assert opened.read_as["delimiter"] == delimiter
    assert opened.read_as["encoding"] == ENCODINGS[encoding]
    assert opened.read_as["header_row"] == titles + 1
    assert opened.count == len(rows) == titles + len(table)
    for number, (row, cells) in enumerate(zip(rows[titles:], table, strict=True), titles + 2):
        if isinstance(row, SkippedRow):
            assert row.reason == "blank" or cells == header
            assert row.number == number
        else:
            assert row == (None, number, cells)


@LAW
@given(
    text=st.lists(
        st.sampled_from(['"', ";", "\n", "\r\n", "\r", "a", "bc", '"";', ' "', "x" * 60]),
        max_size=60,
    ).map("".join)
)
def test_no_row_vanishes_whatever_the_quotes(text):
    """Rows are numbered without gaps, are as many as announced, and every letter is in one."""
    limits = TableLimits(rows=1000, columns=50, cell=50, line=200)
    section = TableSection(delimiter=";", header_row=1)
    data = "h;i\n" + text
    table = open_csv(io.BytesIO(data.encode()), section, ["h"], limits=limits)
    rows = list(table.rows())
    assert table.count == len(rows)
    numbers = [row[1] if isinstance(row, tuple) else row.number for row in rows]
    assert numbers == list(range(2, 2 + len(rows)))
    if not any(isinstance(row, BadRow) for row in rows):
        kept = "".join("".join(row[2] if isinstance(row, tuple) else row.cells) for row in rows)
        for letter in "abcx":
            assert kept.count(letter) == text.count(letter)


@LAW
@given(data=st.binary(max_size=200))
def test_any_bytes_give_rows_or_a_reason(data):
    announced, rows, reasons = 0, [], ()
    try:
        table = open_csv(io.BytesIO(data), TableSection(), [])
        announced, rows = table.count, list(table.rows())
    except TableNotUsable as error:
        reasons = error.errors
    assert announced == len(rows)
    assert announced or reasons or b"\n" not in data.strip()


NAMES = st.sampled_from(["Date", "Start [g]", "a", "#1", "#2", "#9"])
TEXTS = st.text(st.sampled_from('ab1,;|\t"\n .'), max_size=60) | st.sampled_from(
    ["Date;Start [g]\n1;2\n", "x\nDate,Start [g],a\n1,2,3\n", "a\n1\n", "Date;Date\n1;2\n"]
)


@settings(max_examples=500, deadline=None, derandomize=True)
@given(TEXTS, st.lists(NAMES, unique=True, max_size=4), st.none() | st.integers(0, 6))
def test_whatever_is_stated_and_wanted_a_table_opens_or_says_why(text, wanted, header_row):
    section = TableSection(header_row=header_row)
    why = ()
    try:
        table = open_csv(io.BytesIO(text.encode()), section, wanted)
    except TableNotUsable as error:
        why = error.errors
    else:
        assert set(table.columns) == set(wanted)
        assert sum(1 for _ in table.rows()) == table.count
        return
    assert why
    assert all(fault.detail for fault in why)
