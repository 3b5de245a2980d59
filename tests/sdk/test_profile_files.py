import json
import pickle
import tomllib

import pytest

from weighworthy.profile_files import (
    Part,
    ProfileFileError,
    load_profile,
    open_profile,
    profile_from_text,
    write_profile,
)

RULE = '[[rules]]\nchecks = ["span"]\nlimits.span_error = { within = "2 mg" }\n'


@pytest.fixture
def put(tmp_path):
    """Writes a profile file: name, id@revision, what it extends."""

    def write(name, profile, extends=None, rest=RULE):
        id_, revision = profile.split("@")
        line = "" if extends is None else f'extends = "{extends}"\n'
        path = tmp_path / name
        path.write_text(f'id = "{id_}"\nrevision = "{revision}"\n{line}{rest}', "utf-8")
        return path

    return write


def test_parents_are_found_beside_and_nested(put):
    put("anything.toml", "root@1")
    put("base-file.toml", "base@2026-01", "root")
    put("other.toml", "base@2025-01")
    child = put("harbour.toml", "harbour@7", "base@2026-01")
    document = load_profile(child)
    assert document["id"] == "harbour"
    assert document["extends"]["revision"] == "2026-01"
    assert document["extends"]["extends"]["id"] == "root"
    opened = open_profile(child)
    assert tomllib.loads(opened.members["profile_toml"]) == document
    folder = child.parent
    base, root = str(folder / "base-file.toml"), str(folder / "anything.toml")
    # Six lines of each text but the last, and a header before each parent.
    assert opened.parts == {
        "harbour@7": Part(str(child), 1, as_written=True),
        "base@2026-01": Part(base, 8, as_written=True),
        "root@1": Part(root, 15, as_written=True),
    }
    assert opened.locate(6, "harbour@7") == (str(child), 6)
    assert opened.locate(8, None) == (base, 1)
    assert opened.locate(13, "base@2026-01") == (base, 6)
    assert opened.locate(15, "root@1") == (root, 1)
    assert opened.locate(None, "root@1") == (root, None)
    assert opened.locate(None, "elsewhere@1") == ("elsewhere@1", None)
    assert opened.locate(None, None) == (str(child), None)


def test_a_parent_that_is_not_beside_stays_a_name(put):
    child = put("a.toml", "a@1", "weighworthy-general@1")
    assert load_profile(child)["extends"] == "weighworthy-general@1"
    assert open_profile(child).members == {"profile_toml": child.read_text("utf-8")}


def test_json_files_serve_as_well(put, tmp_path):
    put("base.toml", "base@1")
    child = tmp_path / "a.json"
    rules = [{"validity": {"points": {"at_least": 4}}}]
    child.write_text(
        json.dumps({"id": "a", "revision": "1", "extends": "base@1", "rules": rules}), "utf-8"
    )
    document = load_profile(child)
    assert document["extends"]["rules"][0]["limits"] == {"span_error": {"within": "2 mg"}}
    assert document["rules"] == rules
    assert open_profile(child).members == {"profile": document}
    put("b.toml", "b@1", "a@1")
    assert load_profile(tmp_path / "b.toml")["extends"] == document
    # The lines of the JSON file are not those of the TOML that was made of it.
    opened = open_profile(tmp_path / "b.toml")
    whole = opened.members["profile_toml"].split("\n")
    assert opened.locate(whole.index("[extends]") + 2, None) == (str(child), None)
    assert opened.locate(len(whole) - 1, None) == (str(tmp_path / "base.toml"), 5)


def test_dates_become_texts(put):
    child = put("a.toml", "a@1", rest="effective_from = 2026-03-01\n" + RULE)
    assert load_profile(child)["effective_from"] == "2026-03-01"


def test_a_parent_with_dates_and_odd_texts_survives_being_written_in(put):
    put(
        "base.toml",
        "base@1",
        rest='effective_from = 2026-03-01\ntitle = """two\nlines, "quoted" \\\\ é"""\n' + RULE,
    )
    child = put("a.toml", "a@1", "base@1")
    parent = tomllib.loads(open_profile(child).members["profile_toml"])["extends"]
    assert parent["title"] == 'two\nlines, "quoted" \\ é'
    assert parent["effective_from"].isoformat() == "2026-03-01"


def test_a_circle_is_named(put):
    put("a.toml", "a@1", "b@1")
    put("b.toml", "b@1", "c@1")
    last = put("c.toml", "c@1", "a@1")
    for use in (load_profile, open_profile):
        with pytest.raises(ProfileFileError, match="circle: c@1 -> a@1 -> b@1 -> c@1") as caught:
            use(last)
        assert caught.value.faults[0].startswith(f"{last}:3: extends-cycle: ")


def test_four_parents_and_no_more(put):
    put("0.toml", "p0@1")
    paths = [put(f"{i}.toml", f"p{i}@1", f"p{i - 1}@1") for i in range(1, 6)]
    document = load_profile(paths[3])
    for _ in range(4):
        document = document["extends"]
    assert document["id"] == "p0"
    with pytest.raises(ProfileFileError, match="more than 4 parents"):
        load_profile(paths[4])


def test_two_files_that_could_be_the_parent(put):
    put("one.toml", "base@1")
    put("two.toml", "base@2")
    child = put("a.toml", "a@1", "base")
    with pytest.raises(ProfileFileError, match=r"base@1 in one\.toml, base@2 in two\.toml"):
        load_profile(child)
    assert load_profile(put("b.toml", "b@1", "base@2"))["extends"]["revision"] == "2"


def test_broken_files_beside_do_no_harm(put, tmp_path):
    (tmp_path / "0.toml").write_text("id = ", "utf-8")
    (tmp_path / "1.json").write_text("[1]", "utf-8")
    (tmp_path / "2.toml").write_bytes(b"\xff")
    (tmp_path / "3.toml").mkdir()
    (tmp_path / "site.toml").write_text("[weights.A]\nnominal = '2 g'\n", "utf-8")
    put("base.toml", "base@1")
    assert load_profile(put("a.toml", "a@1", "base@1"))["extends"]["id"] == "base"


@pytest.mark.parametrize(
    ("name", "content", "fault"),
    [
        ("a.toml", b'id = "a"\nrules = [', r"a\.toml.*: "),
        ("a.toml", b'id = "a"\nid = "b"\n', r"a\.toml:2: "),
        ("a.json", b'{"id": "a",\n]', r"a\.json:2: "),
        ("a.json", b'{"id": "a", "id": "b"}', "twice"),
        ("a.json", b"[]", "object"),
        ("a.toml", b'id = "a"\n# \xff', r"a\.toml:2: not-utf-8: the byte 0xff"),
        ("a.toml", 'id = "a"\ntitle = "Mühle"\n'.encode("cp1252"), r"a\.toml:2: not-utf-8: .*0xfc"),
        ("a.toml", 'id = "a"\n'.encode("utf-16"), r"a\.toml:1: not-utf-8: .*UTF-16"),
        ("a.toml", b'\xef\xbb\xbfid = "a"', r"a\.toml:1: .*byte order mark"),
        ("a.toml", b"x = " + b"[" * 5000, "deep"),
        ("a.json", b"[" * 100_000, "deep"),
        ("a.toml", b"x = " + b"1" * 5000, "digits"),
        ("a.toml", b"#" * (256 * 1024 + 1), "larger"),
        ("a.toml", b'id = "a"\n[[rules]]\nlimits.x = { within = 0.05 }\n', r"within.*q\(12"),
    ],
)
def test_files_that_cannot_be_read_say_so(tmp_path, name, content, fault):
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(ProfileFileError, match=fault) as caught:
        load_profile(path)
    assert str(path) in caught.value.faults[0]


def test_the_faults_of_a_file_reach_another_process(tmp_path):
    path = tmp_path / "a.toml"
    path.write_bytes(b"x = " + b"1" * 5000)
    with pytest.raises(ProfileFileError) as caught:
        load_profile(path)
    assert pickle.loads(pickle.dumps(caught.value)).faults == caught.value.faults  # noqa: S301


def test_broken_toml_is_sent_so_that_the_service_names_the_line(tmp_path):
    path = tmp_path / "a.toml"
    path.write_text("id = ", "utf-8")
    assert open_profile(path).members == {"profile_toml": "id = "}
    assert open_profile(path).locate(1, None) == (str(path), 1)


def test_where_lines_cannot_be_kept_the_document_is_sent(put, tmp_path):
    put("base.toml", "base@1")
    text = 'id = "a"\nrevision = "1"\nextends = """\nbase@1"""\n'
    opened = profile_from_text(text, "standard input", tmp_path)
    assert opened.members["profile"]["extends"]["id"] == "base"
    assert opened.locate(None, "base@1") == (str(tmp_path / "base.toml"), None)
    assert opened.locate(None, "a@1") == ("standard input", None)


def test_write_and_load(put, tmp_path):
    put("base.toml", "base@1")
    document = load_profile(put("a.toml", "a@1", "base@1"))
    write_profile(document, tmp_path / "whole.toml")
    assert load_profile(tmp_path / "whole.toml") == document
    assert b"\r" not in (tmp_path / "whole.toml").read_bytes()
