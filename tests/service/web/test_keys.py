"""Key files: digests with scopes, several at once; what cannot be meant is told without the key."""

from hashlib import sha256
from pathlib import Path

import pytest

from weighworthy_service.web.document import document
from weighworthy_service.web.keys import SCOPES, Key, read_keys
from weighworthy_service.web.variables import SettingsError

# The published digest of the three bytes "abc" (FIPS 180-2, B.1).
ABC = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
OTHER = sha256(b"kmf-quay-2").hexdigest()


def written(tmp_path: Path, text: str) -> Path:
    file = tmp_path / "keys"
    file.write_text(text, "utf-8")
    return file


def test_a_file_of_several_keys(tmp_path: Path) -> None:
    text = f"""# Kestrel Mill Foods, harbour
sha256:{ABC}   # old key of the LIMS, evaluate read metrics

sha256:{OTHER} metrics # scraper
  sha256:{"0" * 64}\tread\tevaluate#
"""
    assert read_keys(written(tmp_path, text)) == {
        Key(sha256(b"abc").digest(), frozenset({"evaluate", "read"})),
        Key(bytes.fromhex(OTHER), frozenset({"metrics"})),
        Key(bytes(32), frozenset({"evaluate", "read"})),
    }


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("# nothing\n", "holds no key"),
        ("\nmy-secret\n", "line 2"),
        ("sha256:ABC\n", "line 1"),
        (f"sha256:{ABC.upper()}\n", "line 1"),
        (f"sha256:{ABC} my-secret\n", "the scopes evaluate, read, metrics"),
        (f"sha256:{ABC} read,metrics\n", "apart by spaces"),
        (f"sha256:{ABC} Read\n", "line 1"),
        (f"sha256:{ABC} read\n\nsha256:{ABC} metrics\n", "line 3 .* gives other scopes .*line 1"),
    ],
)
def test_a_file_that_cannot_be_meant(tmp_path: Path, text: str, says: str) -> None:
    with pytest.raises(SettingsError, match=says) as caught:
        read_keys(written(tmp_path, text))
    assert "my-secret" not in str(caught.value)


def test_the_same_line_twice_is_one_key(tmp_path: Path) -> None:
    assert len(read_keys(written(tmp_path, f"sha256:{ABC}\nsha256:{ABC} read evaluate\n"))) == 1


def test_bytes_that_are_no_text_stay_out_of_the_message(tmp_path: Path) -> None:
    (tmp_path / "keys").write_bytes(b"my-secret\xff")
    with pytest.raises(SettingsError, match="it is not UTF-8") as caught:
        read_keys(tmp_path / "keys")
    assert "my-secret" not in repr(caught.value)
    assert caught.value.__cause__ is None


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(SettingsError, match="cannot be read: No such file"):
        read_keys(tmp_path / "none")


def test_a_mounted_secret(tmp_path: Path) -> None:
    """As Kubernetes lays it: names that point through a link into a folder with a time in it."""
    data = tmp_path / "..2026_03_16_07_30_00.1"
    data.mkdir()
    (data / "lims").write_text(f"sha256:{ABC}\n")
    (data / "scraper").write_text(f"sha256:{OTHER} metrics")
    (tmp_path / "..data").symlink_to(data.name)
    for name in ("lims", "scraper"):
        (tmp_path / name).symlink_to(f"..data/{name}")
    found = {key.digest.hex(): key.scopes for key in read_keys(tmp_path)}
    assert found == {ABC: {"evaluate", "read"}, OTHER: {"metrics"}}
    (tmp_path / "again").write_text(f"sha256:{OTHER} read\n")
    with pytest.raises(SettingsError, match=r"scraper gives other scopes .*again"):
        read_keys(tmp_path)


def test_a_folder_without_keys(tmp_path: Path) -> None:
    (tmp_path / ".hidden").write_text(f"sha256:{ABC}\n")
    with pytest.raises(SettingsError, match="holds no file"):
        read_keys(tmp_path)


def test_the_description_of_the_interface_names_every_scope() -> None:
    scheme = document()["components"]["securitySchemes"]["bearer"]
    assert [scope for scope in SCOPES if f"`{scope}`" not in scheme["description"]] == []
