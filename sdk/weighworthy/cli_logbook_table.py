"""What the service says of a row that was sent, said of the row of its file."""

import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace

from weighworthy.cli_common import UsageError
from weighworthy.errors import FieldError, Invalid, MappingNotUsable, TableNotUsable

# A workbook's row comes with its sheet, in whose name no colon may be.
_ROW = re.compile(r"row ([0-9]+)(?: of ([^:]+))?: ")


@contextmanager
def faults_of_table(table: str | None, mapping: str | None) -> Iterator[None]:
    """Around a call with a table: a row is named with its file, and so is what is wrong with a
    whole file. Raises `UsageError` for that."""
    name = "standard input" if table == "-" else str(table)

    def placed(fault: FieldError) -> FieldError:
        row = _ROW.match(fault.detail)
        if table is None or row is None:
            return fault
        sheet = "" if row[2] is None else f" sheet {row[2]!r}"
        where = f"{name}{sheet} row {row[1]} {fault.pointer}".rstrip()
        return replace(fault, pointer=where, detail=fault.detail[row.end() :])

    try:
        yield
    except Invalid as error:
        status, kind, title, detail, faults, *others = error.args
        told = tuple(placed(fault) for fault in faults)
        raise Invalid(status, kind, title, detail, told, *others) from error
    except TableNotUsable as error:
        raise UsageError(f"{name}: {error}") from error
    except MappingNotUsable as error:
        raise UsageError(f"{mapping}: {error}") from error
