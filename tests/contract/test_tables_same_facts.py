"""Facts of tables that the client has to know too, and may not import from the service."""

import pytest

from weighworthy import mapping_files, table_cells, table_counts, workbook, workbook_out
from weighworthy_service.tables.added import ADDED, PLACE
from weighworthy_service.tables.cells import SHOWN_LENGTH
from weighworthy_service.tables.header import HEADER_WITHIN, name_key


def test_where_a_header_is_looked_for():
    assert workbook._HEADER_WITHIN == HEADER_WITHIN


@pytest.mark.parametrize(
    "name", ["Start [g]", " Start\u00a0[G] ", '"Start"', "„Größe“", "STRASSE ß", "", "a\nb", "'’"]
)
def test_when_two_names_of_columns_are_the_same(name):
    assert mapping_files.column_key(name) == name_key(name)


def test_what_an_answer_adds():
    assert ADDED[0] == table_counts.FIRST_ADDED
    assert set(table_counts._COUNTED) <= set(ADDED)
    assert tuple(PLACE) == tuple(table_counts.PLACE)
    assert set(ADDED) >= workbook_out._NUMERIC


def test_how_long_a_number_format_may_be():
    assert table_cells._LONGEST_FORMAT == SHOWN_LENGTH
