"""How deep a TOML text goes, told from its signs alone and before anything is built of it.

The reader of the standard library copies a key once for every part that it has, so that a text of a
hundred kilobytes can take it a minute and all the memory there is. This scan takes a time in
proportion to the text. It knows just enough of TOML 1.0 to pass over strings and comments; how far
a text is TOML at all is the reader's business. The grammar that finds lines would not do here: it
goes on after a fault, and what it makes of the text before one is then not what the reader makes.
"""

import re
from typing import Final

# The longest that means anything: extends four times, rules, limits, name, bands, smaller_of,
# within; and some for what is only written wrong.
MAX_PARTS: Final = 12
# As deep as a JSON body may be.
MAX_DEPTH: Final = 32

# Strings and comments are taken whole. A quote that begins no string that ends is a fault, at which
# the reader stops at the latest. Nothing is tried twice, so that no text makes the search slow.
_SIGN: Final = re.compile(
    r'"""[^"\\]*+(?:(?:\\.|"{1,2}+(?!"))[^"\\]*+)*"{3,5}+'
    r"|'''[^']*+(?:'{1,2}+(?!')[^']*+)*'{3,5}+"
    r'|"(?!"")[^"\\\n]*+(?:\\.[^"\\\n]*+)*"'
    r"|'(?!'')[^'\n]*+'"
    r"|\#[^\n]*+"
    r"|(?P<sign>[.=,\n\[\]{}])"
    r"|(?P<fault>[\"'])",
    re.DOTALL,
)


def first_excess(text: str) -> tuple[int, str] | None:
    """The line, counted from 1, where a text first goes deeper than any profile, and what is said.

    None for every TOML text of keys with at most `MAX_PARTS` parts and values less deep than
    `MAX_DEPTH`; of what is no TOML, whatever it is, the reader meets only what has passed here.
    """
    # How deep what is open lies, and of the pair at hand: dots so far, parts of its key once `=`
    # is reached. Digits have dots as well, but never two in one value.
    depth, above, dots, parts = 0, [], 0, 0
    for found in _SIGN.finditer(text):
        sign = found["sign"]
        if sign == ".":
            dots += 1
            if dots >= MAX_PARTS:
                return _at(text, found.start(), f"a key has more than {MAX_PARTS} parts")
        elif sign == "=":
            dots, parts = 0, dots + 1
        elif sign in ("[", "{"):
            above.append(depth)
            depth, dots, parts = depth + max(parts, 1), 0, 0
            if depth >= MAX_DEPTH:
                return _at(text, found.start(), f"nested deeper than {MAX_DEPTH} levels")
        elif sign is not None:  # , ] } or the end of a line
            if sign in ("]", "}") and above:
                depth = above.pop()
            dots = parts = 0
        elif found["fault"] is not None:
            return None
    return None


def _at(text: str, position: int, detail: str) -> tuple[int, str]:
    return text.count("\n", 0, position) + 1, detail
