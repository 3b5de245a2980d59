"""What is seen of the XML of a sheet: never less content than there is."""

import io
import zipfile

import openpyxl
import pytest

from weighworthy.workbook_seen import Hidden, look_through

HEAD = '<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main">'
ROWS = '<row r="1"><c r="A1"><v>1</v></c></row><row r="2"><c r="A2"/></row>'


def look(xml):
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        archive.writestr("sheet", xml)
    with zipfile.ZipFile(packed) as archive:
        return look_through(archive, "sheet")


def sheet(rows, before=""):
    return f"{HEAD}{before}<sheetData>{rows}</sheetData><autoFilter/></worksheet>".encode()


def test_where_content_ends():
    seen = look(sheet(ROWS))
    assert (seen.last_row, seen.formulas) == (1, False)
    assert (
        look(sheet('<row r="7"><c r="A7" t="inlineStr"><is><t>x</t></is></c></row>')).last_row == 7
    )
    assert look(sheet('<row r="3"><c r="A3"><f>1+1</f></c></row>')).last_row == 3
    assert look(sheet("")).last_row == 0
    assert look(f"{HEAD}<sheetData/></worksheet>".encode()).last_row == 0


def test_rows_out_of_order_end_with_the_highest():
    row = '<row r="{0}"><c r="A{0}"><v>1</v></c></row>'
    assert look(sheet(row.format(9) + row.format(4))).last_row == 9


@pytest.mark.parametrize(
    ("numbers", "found"),
    [((1, 2, 7), None), ((9, 4), (4, 9)), ((1, 3, 3, 2), (3, 3)), ((2, 5, 3, 4), (3, 5))],
)
@pytest.mark.parametrize("begin", ['<row r="{0}">', "<row  spans='1:1' r='{0}'>"])
def test_the_first_row_that_stands_below_its_place_is_found(numbers, found, begin):
    row = begin + '<c r="A{0}"><v>1</v></c></row>'
    assert look(sheet("".join(row.format(number) for number in numbers))).out_of_order == found


def test_rows_that_only_seem_to_stand_below_their_place_are_none():
    assert look(sheet(f'{ROWS}<!-- <row r="1"> --><row r="3"/>')).out_of_order is None
    far = "".join(f'<row r="{number}"><c><v>1</v></c></row>' for number in range(1, 60_001))
    assert look(sheet(far)).out_of_order is None
    assert look(sheet(far + '<row r="60000"/>')).out_of_order == (60_000, 60_000)


@pytest.mark.parametrize(
    "xml",
    [
        sheet(ROWS + "<row><c><v>1</v></c></row>"),
        sheet(ROWS + "<row r='5'><c><v>1</v></c></row>"),
        sheet('<!-- <row r="1"> -->' + ROWS),
        sheet("<row r='1'><![CDATA[<v>]]></row>"),
        sheet(ROWS).replace(b"<", b"<x:").replace(b"<x:/", b"</x:"),
        sheet(ROWS).decode().encode("utf-16"),
        b"",
    ],
)
def test_of_what_is_unusual_nothing_is_said(xml):
    assert look(xml).last_row is None


def test_hidden_rows_and_columns_are_counted():
    book = openpyxl.Workbook()
    for number in range(1, 6):
        book.active.append([number] * 5)
    for row in (2, 4):
        book.active.row_dimensions[row].hidden = True
    book.active.column_dimensions.group("B", "D", hidden=True)
    packed = io.BytesIO()
    book.save(packed)
    with zipfile.ZipFile(packed) as archive:
        seen = look_through(archive, "xl/worksheets/sheet1.xml")
    assert seen.hidden == Hidden(((2, 2), (4, 4)), ((2, 4),))
    assert str(seen.hidden) == "2 hidden rows and 3 hidden columns"
    assert seen.last_row == 5
    rest = '<cols><col min="6" max="16384" hidden="1"/></cols>'
    assert not look(sheet(ROWS, rest)).hidden
    assert str(look(sheet('<row hidden="true" r="8"/>')).hidden) == "1 hidden row"


def test_over_the_steps_of_reading_nothing_is_lost():
    row = '<row r="{0}" hidden="1"><c r="A{0}" t="inlineStr"><is><t>{1}</t></is></c></row>'
    rows = "".join(row.format(number, "x" * (number % 90)) for number in range(1, 40_001))
    empty = "".join(f'<row r="{number}"/>' for number in range(40_001, 200_001))
    seen = look(sheet(rows + empty))
    assert (seen.hidden, seen.last_row) == (Hidden(((1, 40_000),)), 40_000)
