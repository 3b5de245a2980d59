"""What a run leaves for the next one, and when that is not to be trusted."""

import json

import pytest

from weighworthy.journal import open_journal

RUN = {"the table": "1", "the mapping": "2"}


@pytest.fixture
def out(tmp_path):
    return tmp_path / "out.csv"


def put(journal, number, text):
    written = journal.folder / "being-written"
    written.write_text(text, "utf-8")
    journal.done(number, written, {"rows": number})


def test_what_is_done_is_found_again(out):
    journal = open_journal(out, RUN)
    put(journal, 0, "first")
    again = open_journal(out, RUN)
    assert again.fresh is None
    assert again.note(0) == {"rows": 0, "bytes": 5}
    assert again.part(0).read_text("utf-8") == "first"
    assert again.note(1) is None


def test_it_lies_beside_the_output_and_goes(out):
    journal = open_journal(out, RUN)
    assert journal.folder == out.with_name("out.csv.journal")
    journal.remove()
    assert not journal.folder.exists()


@pytest.mark.parametrize(
    ("changed", "why"),
    [
        ({**RUN, "the table": "x"}, "the table changed since it was cut off"),
        ({"the table": "x", "the mapping": "y"}, "the table and the mapping changed"),
        ({**RUN, "the profile": "z"}, "the profile changed"),
    ],
)
def test_another_run_begins_anew(out, changed, why):
    put(open_journal(out, RUN), 0, "first")
    journal = open_journal(out, changed)
    assert why in journal.fresh
    assert journal.note(0) is None
    assert open_journal(out, changed).fresh is None


def test_anew_if_asked(out):
    put(open_journal(out, RUN), 0, "first")
    journal = open_journal(out, RUN, resume=False)
    assert (journal.fresh, journal.note(0)) == (None, None)


@pytest.mark.parametrize("content", ["", "{", "[]", "null"])
def test_a_broken_head_begins_anew(out, content):
    journal = open_journal(out, RUN)
    put(journal, 0, "first")
    (journal.folder / "run.json").write_text(content, "utf-8")
    assert open_journal(out, RUN).fresh == "the journal cannot be read"


def test_a_part_without_note_or_of_another_size_is_not_done(out):
    journal = open_journal(out, RUN)
    journal.part(0).write_text("half", "utf-8")
    assert journal.note(0) is None
    put(journal, 1, "whole")
    journal.part(1).write_text("who", "utf-8")
    assert journal.note(1) is None
    note = journal.folder / "part-000001.json"
    note.write_text(json.dumps({"rows": 1})[:-3], "utf-8")
    assert journal.note(1) is None
