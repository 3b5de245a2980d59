"""How long the cell is that a line leaves open: by it is told whether its quote is ever closed."""


def open_cell(line: str, before: int) -> int:
    """Characters of the cell that is open at the end of a line.

    Args:
        line: of a record that goes on behind it, so that some quotation mark is open at its end.
        before: characters of the cell that is open at its beginning, 0 in the first line.
    """
    # Two marks are one character of a cell; then the last that is left opens a new one.
    text = line.replace('""', "x")
    place = text.rfind('"')
    return before + len(text) if place < 0 else len(text) - place - 1
