"""Names of time zones: those of the IANA database, and no files that lie beside them."""

import pytest

from weighworthy_service.time_zones import zone_of


@pytest.mark.parametrize("name", ["Europe/Berlin", "America/Argentina/Ushuaia", "UTC", "Etc/GMT+5"])
def test_a_name_of_the_database_is_a_zone(name: str) -> None:
    zone = zone_of(name)
    assert zone is not None
    assert zone.key == name


# Files that systems keep beside zones: with leap seconds, or a default of theirs.
BESIDE = ["right/UTC", "posix/Europe/Berlin", "posixrules", "localtime", "Factory"]


@pytest.mark.parametrize(
    "name", [*BESIDE, "", ".", "../UTC", "/etc/localtime", "Europe", "europe/berlin", "UTC\0"]
)
def test_other_texts_are_none(name: str) -> None:
    assert zone_of(name) is None
