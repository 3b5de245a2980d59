"""Settings: a service for everybody is somebody's decision, not a forgotten setting."""

from hashlib import sha256
from pathlib import Path

import pytest

from weighworthy_service.web.settings import Settings, SettingsError, read_keys

DIGEST = sha256(b"kmf-harbour-1").hexdigest()


@pytest.mark.parametrize("unset", [{}, {"WEIGHWORTHY_ANONYMOUS": "", "WEIGHWORTHY_KEYS_FILE": ""}])
def test_neither_keys_nor_a_decision_is_refused_with_what_to_set(unset: dict[str, str]) -> None:
    with pytest.raises(SettingsError, match=r"WEIGHWORTHY_KEYS_FILE.*WEIGHWORTHY_ANONYMOUS"):
        Settings.from_environment(unset)


@pytest.mark.parametrize("choice", ["loopback", "yes"])
def test_anonymous(choice: str) -> None:
    settings = Settings.from_environment({"WEIGHWORTHY_ANONYMOUS": choice})
    assert settings == Settings(anonymous=choice, keys=frozenset())


def test_anonymous_of_another_spelling_is_refused() -> None:
    with pytest.raises(SettingsError, match="it takes loopback, yes or no"):
        Settings.from_environment({"WEIGHWORTHY_ANONYMOUS": "true"})


def test_key_file(tmp_path: Path) -> None:
    file = tmp_path / "keys"
    file.write_text(f"# harbour\nsha256:{DIGEST}  # scale room\n\nsha256:{'0' * 64}\n")
    settings = Settings.from_environment({"WEIGHWORTHY_KEYS_FILE": str(file)})
    assert settings.anonymous == "no"
    assert settings.keys == {bytes.fromhex(DIGEST), bytes(32)}


@pytest.mark.parametrize(
    ("text", "says"),
    [("# nothing\n", "holds no key"), ("\nmy-secret\n", "line 2"), ("sha256:ABC\n", "line 1")],
)
def test_key_file_that_cannot_be_meant(tmp_path: Path, text: str, says: str) -> None:
    file = tmp_path / "keys"
    file.write_text(text)
    with pytest.raises(SettingsError, match=says) as caught:
        read_keys(file)
    assert "my-secret" not in str(caught.value)


def test_key_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(SettingsError, match="cannot be read"):
        read_keys(tmp_path / "none")


@pytest.mark.parametrize(
    ("written", "folder"), [("profiles", Path("profiles")), ("", None), (None, None)]
)
def test_the_folder_of_profiles(written, folder):
    environment = {"WEIGHWORTHY_ANONYMOUS": "loopback"}
    if written is not None:
        environment["WEIGHWORTHY_PROFILES"] = written
    assert Settings.from_environment(environment).profiles == folder
