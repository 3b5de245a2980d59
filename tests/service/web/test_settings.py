"""Settings: a service for everybody is somebody's decision, not a forgotten setting."""

import re
from hashlib import sha256
from pathlib import Path

import pytest

from weighworthy_service.web.keys import Key
from weighworthy_service.web.server_settings import ServerSettings
from weighworthy_service.web.settings import Settings
from weighworthy_service.web.variables import VARIABLES, SettingsError, as_markdown

DIGEST = sha256(b"kmf-harbour-1").hexdigest()


@pytest.mark.parametrize("unset", [{}, {"WEIGHWORTHY_ANONYMOUS": "", "WEIGHWORTHY_KEYS_FILE": ""}])
def test_neither_keys_nor_a_decision_is_refused_with_what_to_set(unset: dict[str, str]) -> None:
    with pytest.raises(SettingsError, match=r"WEIGHWORTHY_KEYS_FILE.*WEIGHWORTHY_ANONYMOUS"):
        Settings.from_environment(unset)


@pytest.mark.parametrize("choice", ["loopback", "yes"])
def test_anonymous(choice: str) -> None:
    settings = Settings.from_environment({"WEIGHWORTHY_ANONYMOUS": choice})
    assert settings == Settings(anonymous=choice, keys=frozenset(), heavy=2)


def test_anonymous_of_another_spelling_is_refused() -> None:
    with pytest.raises(SettingsError, match="it takes loopback, yes or no"):
        Settings.from_environment({"WEIGHWORTHY_ANONYMOUS": "true"})


def test_key_file(tmp_path: Path) -> None:
    file = tmp_path / "keys"
    file.write_text(f"sha256:{DIGEST}\n")
    settings = Settings.from_environment({"WEIGHWORTHY_KEYS_FILE": str(file)})
    assert settings.anonymous == "no"
    assert settings.keys == {Key(bytes.fromhex(DIGEST))}


@pytest.mark.parametrize("name", ["profiles", "mappings"])
def test_a_folder(tmp_path: Path, name: str) -> None:
    variable = f"WEIGHWORTHY_{name.upper()}"
    environment = {"WEIGHWORTHY_ANONYMOUS": "loopback"}
    for written, folder in ((str(tmp_path), tmp_path), ("", None)):
        found = Settings.from_environment({**environment, variable: written})
        assert getattr(found, name) == folder
    assert getattr(Settings.from_environment(environment), name) is None


@pytest.mark.parametrize("variable", ["WEIGHWORTHY_PROFILES", "WEIGHWORTHY_MAPPINGS"])
def test_a_folder_that_is_not_there_is_told_with_path_and_variable(
    tmp_path: Path, variable: str
) -> None:
    (tmp_path / "file").write_text("")
    for path in (tmp_path / "none", tmp_path / "file"):
        with pytest.raises(SettingsError) as caught:
            Settings.from_environment({"WEIGHWORTHY_ANONYMOUS": "yes", variable: str(path)})
        assert variable in str(caught.value)
        assert str(path) in str(caught.value)


@pytest.mark.parametrize(
    ("written", "places"),
    [
        ({}, 2),  # of four threads two are left
        ({"WEIGHWORTHY_THREADS": "8"}, 6),
        ({"WEIGHWORTHY_THREADS": "2"}, 1),
        ({"WEIGHWORTHY_THREADS": "1"}, 1),
        ({"WEIGHWORTHY_HEAVY": "3"}, 3),
        ({"WEIGHWORTHY_HEAVY": "1", "WEIGHWORTHY_THREADS": "16"}, 1),
    ],
)
def test_places_for_heavy_requests(written: dict[str, str], places: int) -> None:
    found = Settings.from_environment({"WEIGHWORTHY_ANONYMOUS": "yes", **written})
    assert found.heavy == places


@pytest.mark.parametrize(
    ("written", "says"),
    [
        ({"WEIGHWORTHY_HEAVY": "4"}, "at least one thread"),
        ({"WEIGHWORTHY_HEAVY": "0"}, "WEIGHWORTHY_HEAVY is '0'"),
        ({"WEIGHWORTHY_HEAVY": "many"}, "a whole number"),
        ({"WEIGHWORTHY_THREADS": "-1"}, "WEIGHWORTHY_THREADS is '-1'"),
    ],
)
def test_places_that_cannot_be_meant(written: dict[str, str], says: str) -> None:
    with pytest.raises(SettingsError, match=says):
        Settings.from_environment({"WEIGHWORTHY_ANONYMOUS": "yes", **written})


@pytest.mark.parametrize(
    ("written", "seconds"), [({}, 15), ({"WEIGHWORTHY_REQUEST_SECONDS": "4"}, 4)]
)
def test_how_long_a_request_may_take_to_come(written: dict[str, str], seconds: int) -> None:
    found = Settings.from_environment({"WEIGHWORTHY_ANONYMOUS": "yes", **written})
    assert found.seconds == seconds


def test_seconds_that_cannot_be_meant() -> None:
    written = {"WEIGHWORTHY_ANONYMOUS": "yes", "WEIGHWORTHY_REQUEST_SECONDS": "0"}
    with pytest.raises(SettingsError, match="WEIGHWORTHY_REQUEST_SECONDS is '0'"):
        Settings.from_environment(written)


@pytest.mark.parametrize(
    "name",
    ["REQUEST_SECONDS", "UPLOAD_SECONDS", "DOWNLOAD_SECONDS", "BATCH_CPU_SECONDS"],
)
def test_a_time_of_ages_is_refused(name: str) -> None:
    """Python's own clocks for threads end at 2**63 ns, 292 years: no limit would hold."""
    variable = f"WEIGHWORTHY_{name}"
    for written, refused in (("1000000", False), ("1000001", True), ("9" * 18, True)):
        environment = {"WEIGHWORTHY_ANONYMOUS": "yes", variable: written}
        if refused:
            with pytest.raises(SettingsError, match=f"{variable} is {written}; it takes at most"):
                Settings.from_environment(environment)
        else:
            Settings.from_environment(environment)


@pytest.mark.parametrize("name", ["KEYS_FILE", "SEALING_KEY", "SEAL_KEYS"])
def test_keys_that_cannot_be_read_are_told_with_variable_and_path(
    tmp_path: Path, name: str
) -> None:
    (tmp_path / "junk").write_text("no key at all")
    (tmp_path / "empty").mkdir()
    for path in (tmp_path / "none", tmp_path / "junk", tmp_path / "empty"):
        environment = {"WEIGHWORTHY_ANONYMOUS": "yes", f"WEIGHWORTHY_{name}": str(path)}
        with pytest.raises(SettingsError) as caught:
            Settings.from_environment(environment)
        assert f"WEIGHWORTHY_{name}" in str(caught.value)
        assert str(path) in str(caught.value)


@pytest.mark.parametrize(
    ("name", "hint"),
    [
        ("WEIGHWORTHY_BATCH_BYTS", "WEIGHWORTHY_BATCH_BYTES"),
        ("WEIGHWORTHY_PROFILE", "WEIGHWORTHY_PROFILES"),
    ],
)
def test_a_name_that_nothing_reads_is_refused_with_the_nearest(name: str, hint: str) -> None:
    with pytest.raises(SettingsError) as caught:
        Settings.from_environment({"WEIGHWORTHY_ANONYMOUS": "yes", name: "1"})
    assert str(caught.value) == f'{name} is set, and nothing reads it; did you mean "{hint}"?'


def test_every_name_that_is_written_anywhere_is_known() -> None:
    """In the code of service and client, and in what describes them."""
    root = Path(__file__).parents[3]
    texts = [root / "README.md", root / "service" / "gunicorn.conf.py"]
    texts += [*(root / "service").rglob("web/*.py"), *(root / "sdk").rglob("*.py")]
    written = {
        name
        for path in texts
        for name in re.findall(r"WEIGHWORTHY_[A-Z_]*[A-Z]\b", path.read_text("utf-8"))
    }
    assert {"WEIGHWORTHY_SPOOL", "WEIGHWORTHY_URL"} <= written
    written.discard("WEIGHWORTHY_BATCH")  # how the names of some begin
    known = {"WEIGHWORTHY_ANONYMOUS": "yes"}
    for name in written - {"WEIGHWORTHY_KEYS_FILE"}:
        Settings.from_environment({name: "", **known})


def test_the_work_of_a_batch() -> None:
    written = {"WEIGHWORTHY_ANONYMOUS": "yes", "WEIGHWORTHY_BATCH_CPU_SECONDS": "7"}
    assert Settings.from_environment(written).batch.work == 7


def read(**written: str) -> tuple[Settings, ServerSettings]:
    """What a server makes of variables, whose names are without prefix."""
    environment = {f"WEIGHWORTHY_{name}": value for name, value in written.items()}
    return Settings.from_environment(environment), ServerSettings.from_environment(environment)


# Those of which the table tells a number or a word that can be written.
STATED = [one for one in VARIABLES if one.usual and one.name not in ("ANONYMOUS", "HEAVY")]


@pytest.mark.parametrize("variable", STATED, ids=lambda variable: variable.name)
def test_the_usual_values_of_the_table_are_those_of_the_code(variable) -> None:
    unset = read(ANONYMOUS="yes")
    assert read(ANONYMOUS="yes", **{variable.name: variable.usual}) == unset
    other = "[::1]:9000" if variable.name == "BIND" else str(int(variable.usual) + 1)
    assert read(ANONYMOUS="yes", **{variable.name: other}) != unset


@pytest.mark.parametrize("variable", STATED, ids=lambda variable: variable.name)
def test_nonsense_is_refused_by_its_name(variable) -> None:
    for nonsense in ("many", "-1", "0", "1.5", "٣", "8000:", "host:70000", "a b:1"):
        with pytest.raises(SettingsError, match=f"WEIGHWORTHY_{variable.name} is {nonsense!r}"):
            read(ANONYMOUS="yes", **{variable.name: nonsense})


@pytest.mark.parametrize(
    "bind", ["0.0.0.0:80", "[::]:8000", "kestrel.example:8443", "unix:/run/weighworthy/socket"]
)
def test_where_to_listen(bind: str) -> None:
    assert read(ANONYMOUS="yes", BIND=bind)[1].bind == bind


def test_the_readme_has_the_table_of_the_code() -> None:
    readme = (Path(__file__).parents[3] / "README.md").read_text("utf-8")
    shown = readme.partition("<!-- variables -->\n")[2].partition("\n\n")[0]
    assert shown + "\n" == as_markdown()
