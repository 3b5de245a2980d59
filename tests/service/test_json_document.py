"""The canonical form is that of RFC 8785, whichever way it was written."""

import rfc8785
from hypothesis import example, given, settings
from hypothesis import strategies as st

from weighworthy_service.json_document import canonical, pointer, pointer_parts, without_nulls

# No halves of surrogate pairs: no UTF-8 text holds them.
texts = st.text(st.characters(exclude_categories=["Cs"]), max_size=6)
numbers = st.integers(-(2**53) + 1, 2**53 - 1) | st.floats(allow_nan=False, allow_infinity=False)
documents = st.recursive(
    st.none() | st.booleans() | texts | numbers,
    lambda below: st.lists(below, max_size=4) | st.dictionaries(texts, below, max_size=4),
    max_leaves=12,
)


@settings(max_examples=400, deadline=None, derandomize=True)
@given(documents)
@example({"\ue000": "1 g", "\U00010000": "2 g"})  # in UTF-16 the second comes first
@example({"a": [1e21, -0.0, 5e-324, {"b": 1.0}]})
@example({"a": 'quote " \\ / \b\f\n\r\t \x00\x1f\x7f\u2028 é'})
def test_the_same_bytes_as_the_library(document):
    assert canonical(document) == rfc8785.dumps(document)


def test_null_members_go_and_null_items_stay():
    kept = without_nulls({"a": None, "b": [None, {"c": None, "d": "1 g"}], "e": {"f": None}})
    assert kept == {"b": [None, {"d": "1 g"}], "e": {}}


def test_a_pointer_is_read_as_it_was_written():
    # RFC 6901, section 5: the member "a/b" is /a~1b and "m~n" is /m~0n; "~1" is /~01, no slash.
    assert pointer_parts("/a~1b/m~0n/~01/0/") == ["a/b", "m~n", "~1", "0", ""]
    assert pointer_parts("") == []
    assert pointer(*pointer_parts("/a~1b/m~0n/~01")) == "/a~1b/m~0n/~01"
