"""What a run leaves for the next one, and when that is not to be trusted."""

import json
from pathlib import PureWindowsPath

import pytest

from weighworthy.journal import journal_folder, open_journal, part_name, temporary

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
    # printf first | sha256sum
    digest = "a7937b64b8caa58f03721bb6bacf5c78cb235febe0e70b1b84cd99541461a08e"
    assert again.note(0) == {"rows": 0, "digest": digest}
    assert again.part(0).read_text("utf-8") == "first"
    assert again.note(1) is None


@pytest.mark.parametrize(
    ("output", "folder"),
    [
        (r"C:\Kestrel\judged.csv", r"C:\Kestrel\judged.csv.journal"),
        (r"C:judged.csv", r"C:judged.csv.journal"),
        (r"\\server\share\judged.csv", r"\\server\share\judged.csv.journal"),
        (r"..\out.v2\judged.XLSX", r"..\out.v2\judged.XLSX.journal"),
    ],
)
def test_names_on_windows_stay_in_their_folder(output, folder):
    path = PureWindowsPath(output)
    beside = journal_folder(path)
    assert beside == PureWindowsPath(folder)
    assert beside.parent == path.parent
    part = beside / part_name(12)
    assert part == PureWindowsPath(folder + r"\part-000012")
    for one in (beside, part, temporary(part)):
        # What Windows takes in no name, and what it silently takes off its end.
        assert not set('<>:"/|?*').intersection(one.name)
        assert not one.is_reserved()
        assert not one.name.endswith((".", " "))
    assert temporary(part).parent == beside


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


def test_a_part_with_one_bit_flipped_is_not_done(out):
    journal = open_journal(out, RUN)
    put(journal, 0, "first")
    journal.part(0).write_bytes(b"Girst")
    assert journal.note(0) is None


def test_what_was_being_written_when_a_run_was_killed_goes(out):
    journal = open_journal(out, RUN)
    assert not journal.begun
    journal.being_written(1).write_text("hal", "utf-8")
    put(journal, 0, "first")
    again = open_journal(out, RUN)
    assert again.begun
    assert sorted(f.name for f in again.folder.iterdir()) == [
        "part-000000",
        "part-000000.json",
        "run.json",
    ]


def test_what_is_no_part_of_the_output_has_a_name(out):
    journal = open_journal(out, RUN)
    put(journal, "cells", "rows")
    assert open_journal(out, RUN).note("cells")["rows"] == "cells"
    assert not journal.begun


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
