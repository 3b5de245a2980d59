"""A folder of profiles: taken whole, or refused with everything that is wrong in it."""

import json
import os
from datetime import date
from pathlib import Path

import pytest

from weighworthy_service.profiles.errors import ProfileNotUsable
from weighworthy_service.profiles.files import MAX_FILE
from weighworthy_service.profiles.finding import find_profile
from weighworthy_service.profiles.folder import FolderNotUsable, load_folder

BASE = """# The base of Kestrel Mill Foods (invented).
id = "kestrel-base"
revision = "1"

[[rules]]
checks = ["simulated-loss"]
limits.loss_error = { within = "0.05 %" }
"""
HARBOUR = """id = "harbour"
revision = "1"
extends = "kestrel-base@1"

[[rules]]
sites = ["harbour"]
limits.loss_error = { within = "0.04 %" }
"""


@pytest.fixture
def folder(tmp_path: Path):
    """Writes files into a folder and gives the folder."""

    def write(**texts: str | bytes) -> Path:
        for name, text in texts.items():
            path = tmp_path / name.replace("__", "/").replace("_", ".")
            path.parent.mkdir(exist_ok=True)
            path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return tmp_path

    return write


@pytest.fixture
def faults():
    """(file, line, code) of everything wrong in a folder."""

    def find(path: Path) -> list[tuple[str, int | None, str]]:
        with pytest.raises(FolderNotUsable) as caught:
            load_folder(path)
        return [(error.file, error.line, error.code) for error in caught.value.errors]

    return find


def test_profiles_of_a_folder_stand_beside_those_that_come_with_the_service(folder):
    found = load_folder(folder(base_toml=BASE, harbour_toml=HARBOUR))
    names = [profile.name for profile in found.all()]
    assert "kestrel-base@1" in names
    assert "harbour@1" in names
    assert found.find("weighworthy-general", None).identity.revision == "1"


@pytest.mark.parametrize("other", [None, "README.md", ".hidden.toml", "below/notes.txt"])
def test_a_folder_without_profiles_is_most_likely_another_than_was_meant(tmp_path, faults, other):
    if other is not None:
        (tmp_path / other).parent.mkdir(exist_ok=True)
        (tmp_path / other).write_text("text")
    assert faults(tmp_path) == [(str(tmp_path), None, "empty")]
    with pytest.raises(FolderNotUsable) as caught:
        load_folder(tmp_path)
    assert str(tmp_path) in str(caught.value)
    assert "leave WEIGHWORTHY_PROFILES unset" in str(caught.value)


def test_json_and_folders_below_are_read_and_other_files_are_not(folder):
    as_json = json.dumps({"id": "valley", "revision": "1", "rules": [{}]})
    path = folder(sites__valley_json=as_json, README_md="no profile", base_toml=BASE)
    (path / ".hidden.toml").write_text("not = profile")
    names = {profile.name for profile in load_folder(path).all()}
    assert {"valley@1", "kestrel-base@1"} <= names


def test_what_stands_in_files_is_what_would_be_sent_along(folder):
    """The same content has the same digest, from the folder, nested, or already resolved."""
    known = load_folder(folder(base_toml=BASE, harbour_toml=HARBOUR))
    from_folder = known.find("harbour@1", None)
    base = {
        "id": "kestrel-base",
        "revision": "1",
        "rules": [
            {"checks": ["simulated-loss"], "limits": {"loss_error": {"within": "0.05 %"}}},
        ],
    }
    own = {"sites": ["harbour"], "limits": {"loss_error": {"within": "0.04 %"}}}
    nested = {"id": "harbour", "revision": "1", "extends": base, "rules": [own]}
    resolved = {"id": "harbour", "revision": "1", "rules": [*base["rules"], own]}
    assert from_folder.document == resolved
    assert find_profile(nested, known).identity == from_folder.identity
    assert find_profile(resolved, known).identity == from_folder.identity


def test_a_profile_sent_along_may_build_on_one_of_the_folder(folder):
    known = load_folder(folder(base_toml=BASE))
    child = {"id": "valley", "revision": "1", "extends": "kestrel-base@1", "rules": [{}]}
    found = find_profile(child, known)
    assert found.extends == ("kestrel-base@1",)
    assert found.rules[0].origin.document == "kestrel-base@1"


def test_order_of_files_does_not_matter(folder):
    """The child's file comes first by name."""
    found = load_folder(folder(a_toml=HARBOUR, z_toml=BASE)).find("harbour@1", None)
    assert found.extends == ("kestrel-base@1",)


@pytest.mark.parametrize(
    ("text", "line", "code"),
    [
        ('id = "a"\nrevision = "1"\nrules = [', 3, "malformed-toml"),
        ('id = "a"\nid = "b"\n', 2, "malformed-toml"),
        (b'id = "a"\n# \xff\n', 2, "not-utf-8"),
        (b"\xef\xbb\xbf" + BASE.encode(), 1, "byte-order-mark"),
        (BASE.replace("within", "witin"), 7, "unknown-field"),
        (BASE.replace("loss_error", "loss_eror"), 7, "unknown-criterion"),
        (BASE.replace('"kestrel-base"', '"../../etc/passwd"'), 2, "malformed-text"),
        (BASE.replace('"kestrel-base"', '"Kestrel"'), 2, "malformed-text"),
        (BASE.replace('within = "0.05 %"', 'lower = "1 %", upper = "0.5 %"'), 7, "out-of-order"),
        (BASE.replace('"kestrel-base"', '"weighworthy-general"'), 2, "name-taken"),
        (BASE.replace("[[rules]]", 'extends = "elsewhere@1"\n[[rules]]'), 5, "unknown-profile"),
        (BASE + "#" * MAX_FILE, None, "too-large"),
        ("x = " + "[" * 5000 + "]" * 5000, 1, "malformed-toml"),
    ],
)
def test_what_is_wrong_in_a_file_is_told_with_its_line(folder, faults, text, line, code):
    assert (("a.toml", line, code)) in faults(folder(a_toml=text))


def test_the_nearest_known_key_is_suggested(folder):
    with pytest.raises(FolderNotUsable) as caught:
        load_folder(folder(a_toml=BASE.replace("within", "witin")))
    assert 'did you mean "within"?' in str(caught.value)
    assert str(caught.value).startswith("a.toml:7: /rules/0/limits/loss_error/witin ")


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("", 1),
        ("[]", None),
        ('{"id": "a", "id": "b"}', None),
        ('{"id": NaN}', None),
        ('{"id": "\\ud800"}', None),
        ('{"id": "a"\n,}', 2),
        ("[" * 200_000, None),
        ('{"id": ' + "1" * 5000 + "}", None),
    ],
)
def test_json_is_read_strictly(folder, faults, text, line):
    assert faults(folder(a_json=text)) == [("a.json", line, "malformed-json")]


def test_all_faults_of_all_files_come_at_once(folder, faults):
    path = folder(
        a_toml=BASE.replace("within", "witin"),
        b_toml="id =",
        c_toml=HARBOUR.replace("loss_error", "span_eror"),
        d_toml=BASE.replace("base", "other"),
    )
    assert faults(path) == [
        ("a.toml", 7, "unknown-field"),
        ("b.toml", 1, "malformed-toml"),
        ("c.toml", 3, "parent-not-usable"),
    ]


def test_two_files_with_one_id_and_revision(folder, faults):
    path = folder(a_toml=BASE, b_toml=BASE + "# the same again\n")
    assert faults(path) == [("b.toml", 2, "name-taken")]
    with pytest.raises(FolderNotUsable, match=r"kestrel-base@1 is the profile of a\.toml already"):
        load_folder(path)


@pytest.mark.parametrize("begin", ["", "effective_from = 2026-03-01\n"])
def test_two_revisions_that_begin_on_one_day_are_ambiguous(folder, faults, begin):
    first, second = begin + BASE, begin + BASE.replace('revision = "1"', 'revision = "2"')
    assert faults(folder(a_toml=first, b_toml=second)) == [("b.toml", 1, "ambiguous")]


def test_old_revisions_stay_beside_new_ones(folder):
    later = "effective_from = 2026-03-01\n" + BASE.replace('revision = "1"', 'revision = "2"')
    known = load_folder(folder(a_toml=BASE, b_toml=later))
    assert known.find("kestrel-base", date(2026, 2, 28)).identity.revision == "1"
    assert known.find("kestrel-base", date(2026, 3, 1)).identity.revision == "2"
    assert known.find("kestrel-base@1", date(2026, 3, 1)).identity.revision == "1"


def test_cycles_and_missing_parents(folder, faults):
    def building(own: str, parent: str) -> str:
        return f'id = "{own}"\nrevision = "1"\nextends = "{parent}@1"\n[[rules]]\n'

    path = folder(
        a_toml=building("a", "b"),
        b_toml=building("b", "c"),
        c_toml=building("c", "a"),
        d_toml=building("d", "d"),
        e_toml=building("e", "a"),
        f_toml=building("f", "nowhere"),
    )
    assert faults(path) == [
        *((f"{name}.toml", 3, "extends-cycle") for name in "abcde"),
        ("f.toml", 3, "unknown-profile"),
    ]
    with pytest.raises(FolderNotUsable, match="a@1 -> b@1 -> c@1 -> a@1"):
        load_folder(path)


def test_a_link_that_leads_out_is_refused(folder, faults, tmp_path_factory):
    outside = tmp_path_factory.mktemp("outside") / "secret.toml"
    outside.write_text(BASE)
    path = folder(b_toml=HARBOUR.replace('extends = "kestrel-base@1"\n', ""))
    (path / "a.toml").symlink_to(outside)
    (path / "below").symlink_to(outside.parent)
    assert faults(path) == [("a.toml", None, "outside"), ("below", None, "outside")]


def test_a_link_within_is_followed_as_mounted_configurations_need(folder):
    """A mounted configuration map has ..data -> ..2026_03_01 and a.toml -> ..data/a.toml."""
    path = folder()
    (path / "..2026_03_01").mkdir()
    (path / "..2026_03_01" / "a.toml").write_text(BASE)
    (path / "..data").symlink_to("..2026_03_01")
    (path / "a.toml").symlink_to("..data/a.toml")
    known = load_folder(path)
    assert known.find("kestrel-base@1", None).rules


@pytest.mark.parametrize("kind", ["pipe", "dangling", "circle", "folder"])
def test_what_is_no_file_is_refused_and_never_waited_for(folder, faults, kind):
    path = folder() / "a.toml"
    if kind == "pipe":
        os.mkfifo(path)
    elif kind == "folder":
        (folder() / "below").mkdir()
        path.symlink_to("below")
    else:
        path.symlink_to("nowhere" if kind == "dangling" else "a.toml")
    assert faults(folder()) == [("a.toml", None, "unreadable")]


def test_a_folder_that_is_not_there_is_refused(tmp_path, faults):
    """By its whole path: there is nothing that it would lie below."""
    file = tmp_path / "file"
    file.write_text("")
    for path in (tmp_path / "nowhere", file):
        assert faults(path) == [(str(path), None, "unreadable")]


def test_what_is_known_by_name_cannot_be_sent_along_in_another_version(folder):
    known = load_folder(folder(base_toml=BASE))
    with pytest.raises(ProfileNotUsable) as caught:
        find_profile({"id": "kestrel-base", "revision": "1", "rules": [{}]}, known)
    assert [flaw.code for flaw in caught.value.flaws] == ["name-taken"]
