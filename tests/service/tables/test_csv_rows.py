import csv
import io

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from weighworthy_service.tables.cells import BadRow, TableNotUsable
from weighworthy_service.tables.csv_rows import csv_rows
from weighworthy_service.tables.table_section import TableLimits

SMALL = TableLimits(rows=5000, columns=10, cell=100, line=400)


def read(text: str, limits: TableLimits = SMALL, first: int = 1):
    return list(csv_rows(iter(text.splitlines(keepends=True)), ";", limits, first))


def outline(rows):
    return [(row.number, row.code) if isinstance(row, BadRow) else (row[1], row[2]) for row in rows]


def test_rows_are_counted_as_a_spreadsheet_counts_them():
    rows = read('a;"b\nc"\n\nd;e\n', first=7)
    assert outline(rows) == [(7, ["a", "b\nc"]), (8, []), (9, ["d", "e"])]


def test_a_quote_inside_a_cell_is_a_sign_like_any_other():
    assert outline(read('12" pan;x\n"a ""b""";y\n')) == [(1, ['12" pan', "x"]), (2, ['a "b"', "y"])]


@pytest.mark.parametrize(
    "behind",
    [
        "".join(f"{number};plain\n" for number in range(3, 60)),
        'x;"quoted";y\n' * 57,
        "3;last\n",
    ],
)
def test_a_quote_that_is_never_closed_costs_its_own_row(behind):
    rows = read('1;a\n2;"b\n' + behind)
    assert outline(rows)[:2] == [(1, ["1", "a"]), (2, "quote-unclosed")]
    assert rows[1].text == '2;"b'
    assert len(rows) == 2 + behind.count("\n")
    assert not any(isinstance(row, BadRow) for row in rows[2:])


def test_text_behind_a_closing_quote_is_no_cell():
    assert outline(read('1;"a"b\n2;c\n')) == [(1, "quote-unclosed"), (2, ["2", "c"])]


def test_what_is_too_large_is_a_bad_row_and_the_next_is_read():
    rows = read(";".join("x" * 11) + "\n" + "y" * 101 + "\n" + "z" * 401 + "\nlast\n")
    assert outline(rows) == [
        (1, "too-many-columns"),
        (2, "cell-too-long"),
        (3, "line-too-long"),
        (4, ["last"]),
    ]
    assert all(len(row.text) <= 200 for row in rows[:3])


def test_a_line_that_is_too_long_within_an_open_quote():
    rows = read('1;"a\n' + "z" * 401 + "\nlast\n")
    assert outline(rows) == [(1, "quote-unclosed"), (2, "line-too-long"), (3, ["last"])]


def test_a_cell_beyond_the_limit_of_the_csv_module():
    limits = TableLimits(rows=10, columns=10, cell=300_000, line=400_000)
    assert outline(read("x" * 200_000 + "\nlast\n", limits)) == [
        (1, "cell-too-long"),
        (2, ["last"]),
    ]


def test_too_many_rows_are_refused():
    with pytest.raises(TableNotUsable) as caught:
        read("a\n" * 5001)
    assert caught.value.errors[0].code == "too-many-rows"
    assert len(read("a\n" * 5000)) == 5000


def test_a_file_whose_every_line_opens_a_quote_is_given_up_in_bounded_time():
    # Each line closes the quote of the line before and opens another: one endless cell.
    with pytest.raises(TableNotUsable) as caught:
        read('a";"c\n' * 4000)
    assert caught.value.errors[0].code == "quotes-broken"


def lines_of(size: int) -> str:
    """A text of several lines with so many characters, as a cell may hold them."""
    return ("n" * 49 + "\n") * (size // 50) + "n" * (size % 50)


def test_a_record_may_be_longer_than_a_cell():
    # Cells of 100 characters are whole, so three of them are, though they are 300 together.
    cells = [lines_of(100) for _ in range(3)]
    rows = read(";".join(f'"{cell}"' for cell in cells) + "\nlast\n")
    assert outline(rows) == [(1, cells), (2, ["last"])]


def test_a_cell_of_several_lines_is_measured_by_itself():
    cells = ["x" * 90, lines_of(100), "y" * 90]
    text = f'{cells[0]};"{cells[1]}";{cells[2]}\nlast\n'
    assert outline(read(text)) == [(1, cells), (2, ["last"])]
    text = f'{cells[0]};"{cells[1]}n";{cells[2]}\nlast\n'
    assert outline(read(text)) == [(1, "cell-too-long"), (2, ["last"])]


def test_doubled_quotes_are_one_character_and_close_nothing():
    cell = 'a "b"\n' * 16
    doubled = cell.replace('"', '""')
    assert outline(read(f'1;"{doubled}";"{doubled}"\n')) == [(1, ["1", cell, cell])]


def test_a_record_is_no_longer_than_a_line_may_be():
    cells = ";".join(f'"{lines_of(100)}"' for _ in range(5))
    [first, *rest] = read(cells + "\nlast\n")
    assert (first.number, first.code) == (1, "quote-unclosed")
    assert "a row may hold" in first.detail
    assert outline(rest)[-1][1] == ["last"]


def test_what_is_wrong_with_a_row_does_not_depend_on_what_follows():
    # As a table is cut behind a faulty row, so that its piece ends there.
    first = '1;"a\n'
    for behind in ("", "z" * 390 + "\n", "z" * 399 + "\n", "z" * 150_000 + '"\n'):
        limits = TableLimits(rows=10, columns=10, cell=100, line=400)
        if len(behind) > 1000:
            limits = TableLimits(rows=10, columns=10, cell=1_000, line=200_000)
        assert read(first + behind, limits)[0] == read(first, limits)[0]


def test_records_without_end_are_given_up_in_bounded_time():
    limits = TableLimits(rows=5000, columns=500, cell=100, line=40_000)
    with pytest.raises(TableNotUsable) as caught:
        read('"\n"a";' * 20_000, limits)
    assert caught.value.errors[0].code == "quotes-broken"
    taken = 0

    def counted():
        nonlocal taken
        # Each line closes the cell of the line before and opens another: one endless record.
        for _ in range(200_000):
            taken += 1
            yield 'a";"c\n'

    with pytest.raises(TableNotUsable):
        list(csv_rows(counted(), ";", limits))
    # A thousand cells' worth of looking ahead, as for marks that are never closed.
    assert taken < 1000 * 100 / 6 + 10_000


def row_of(number: int, note: str = "x") -> str:
    return f"MA-07;2026-03-02 08:{number:02};12.0010;10.0010;{note}\n"


def test_a_cell_that_holds_rows_of_the_table_costs_each_of_them():
    # A note opens a quote in row 2 by mistake, and one in row 5 happens to end with a quote.
    text = row_of(1) + row_of(2, '"12') + row_of(3) + row_of(4) + row_of(5, 'pan 3"') + row_of(6)
    rows = read(text)
    assert outline(rows) == [
        (1, ["MA-07", "2026-03-02 08:01", "12.0010", "10.0010", "x"]),
        *((number, "quote-over-rows") for number in (2, 3, 4, 5)),
        (6, ["MA-07", "2026-03-02 08:06", "12.0010", "10.0010", "x"]),
    ]
    assert all("opens in row 2" in row.detail and "in row 5" in row.detail for row in rows[1:5])
    assert rows[2].text == row_of(3).rstrip("\n")


@pytest.mark.parametrize(
    ("opening", "closing"),
    [
        ('a;b;7;d;"e\n', 'a;b;7;d;e"\n'),
        ('"a;b;7;d;e\n', 'a;b;7;d;e"\n'),
        ('"a;b;7;d;e\n', 'a";b;7;d;e\n'),
        ('a;b;"7;d;e\n', 'a;b;7";d;e\n'),
        ('a;b;"7;d;e\n', 'a;b;7;d";e\n'),
        ('a;b;7;"d;e\n', 'a;b;7";d;e\n'),
    ],
)
@pytest.mark.parametrize("between", ["", "a;b;7;d;e\n", "\na;b;7;d;e\n" * 3, "Page 2\nA;B;7;D;E\n"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_wherever_the_quotes_stand_rows_are_not_swallowed(opening, between, closing, end):
    rows = read((opening + between + closing + "last;1\n").replace("\n", end))
    count = 2 + between.count("\n")
    assert [row.code for row in rows[:-1]] == ["quote-over-rows"] * count
    assert outline(rows)[-1] == (count + 1, ["last", "1"])


@pytest.mark.parametrize(
    "lines",
    [
        # Rows that leave out their last cells; a mark at either end inside a cell of two lines.
        [
            row_of(2, '"new pan').rstrip("\n"),
            "MA-07;08:00;12.001;10.5",
            row_of(6, '5"'),
        ],
        ['MA-07;x;12.0;10.0;"new', "MA-07;12,001 g;10.001 g", 'MA-08;"'],
        ['"MA-07', "MA-07;08:00;10,500", 'MA-07";08:00;12.0;10.0;x'],
    ],
)
def test_short_rows_are_not_swallowed_either(lines):
    rows = read("\n".join(lines).rstrip("\n") + "\nlast;1\n")
    assert [row.code for row in rows[:-1]] == ["quote-over-rows"] * len(lines)
    assert outline(rows)[-1] == (len(lines) + 1, ["last", "1"])


@pytest.mark.parametrize(
    "record",
    [
        'a;b;c;d;"Cleaned at 12,5; then; again\nlevel 3; 4 turns; ok"\n',
        'a;b;c;d;"Pan cleaned; then again\nlevelled; warmed up\n\nK. Miller"\n',
        # As many marks as a row has, but no figure alone, which every row of a check has.
        '1;2;3;4;"Cleaned; levelled; warm for 60 min; read; ok\nby K.; M.; and; two; others"\n',
        '1;2;"see; the; note; of; today\nand; that; of; 3 days ago; too";4;5\n',
        # Rows end otherwise than lines within a cell: the program has said which are which.
        '1;2;3;4;"7;2026-03-02;12.0010;10.0010;x\n8;2026-03-03;12.0010;10.0010;y"\r\n',
        '1;2;3;4;"7;8;12.0010;10.0010;x\r\n8;9;12.0010;10.0010;y"\n',
        'a;b;"two\nlines";d;e\n',
        '"first\nsecond; third";b;c;d;e\n',
        'a;b;"x\ny";d;"z\nw"\n',
        'a;b;c;d;"one line; with; many; marks; in it"\n',
    ],
)
def test_a_note_of_several_lines_is_one_cell(record):
    rows = read(record + "last;1\n")
    assert outline(rows)[1] == (2, ["last", "1"])
    assert len(rows[0][2]) == 5


CELLS = st.text(st.sampled_from('ab;"\n 1.,'), max_size=20)


@settings(max_examples=200, deadline=None)
@given(table=st.lists(st.lists(CELLS, min_size=2, max_size=5), min_size=1, max_size=5))
def test_what_the_usual_writer_makes_is_read_as_it_was_written(table):
    # By Python's own writer, whose rows end with CR LF.
    out = io.StringIO(newline="")
    csv.writer(out, delimiter=";").writerows(table)
    lines = io.StringIO(out.getvalue(), newline="")
    assert [row[2] for row in csv_rows(lines, ";", TableLimits())] == table


@pytest.mark.parametrize("end", ["\n", "\r\n"])
@pytest.mark.parametrize("place", [0, 2, 4])
@pytest.mark.parametrize("between", [0, 1, 7])
def test_no_row_is_lost_between_two_stray_marks_in_one_column(end, place, between):
    # As wide as a row is what they make of them, and one row would be judged with the cells of two.
    def row(number, before="", after=""):
        cells = ["MA-07", f"2026-03-02 08:{number:02}", "12.0010", "10.0010", "checked"]
        cells[place] = before + cells[place] + after
        return ";".join(cells) + end

    text = row(1) + row(2, before='"') + "".join(row(3 + i) for i in range(between))
    text += row(3 + between, after='"') + row(4 + between)
    rows = read(text, TableLimits())
    assert [row.number for row in rows if isinstance(row, BadRow)] == list(range(2, 4 + between))
    assert rows[-1][1] == 4 + between
