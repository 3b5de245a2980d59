"""Which revision a name means on a day."""

from datetime import date

import pytest

from weighworthy_service.profiles.errors import ProfileNotUsable
from weighworthy_service.profiles.reading import read_profile
from weighworthy_service.profiles.store import ProfileSet


def revision(name, begin=None, end=None, own="kestrel"):
    return read_profile(
        {
            "id": own,
            "revision": name,
            "effective_from": begin,
            "effective_to": end,
            "rules": [{}],
        }
    )


KNOWN = ProfileSet.of(
    [
        # Names say nothing about order: "b" begins before "a".
        revision("first"),
        revision("b", "2026-03-01"),
        revision("a", "2026-06-01", "2026-06-30"),
        revision("only", own="undated"),
        revision("only", "2026-03-01", own="dated"),
    ]
)


@pytest.mark.parametrize(
    ("day", "found"),
    [
        ("2020-01-01", "first"),
        ("2026-02-28", "first"),
        ("2026-03-01", "b"),
        ("2026-05-31", "b"),
        ("2026-06-01", "a"),
        ("2026-06-30", "a"),
    ],
)
def test_a_plain_name_means_the_latest_that_has_begun(day, found):
    assert KNOWN.find("kestrel", date.fromisoformat(day)).identity.revision == found


def test_after_the_end_of_the_latest_none_is_in_force():
    """That an older one comes back would be a surprise."""
    with pytest.raises(ProfileNotUsable) as caught:
        KNOWN.find("kestrel", date(2026, 7, 1))
    (flaw,) = caught.value.flaws
    assert flaw.code == "not-in-force"
    for listed in ("first", "b from 2026-03-01", "a from 2026-06-01 to 2026-06-30"):
        assert listed in flaw.detail


def test_before_the_first_none_is_in_force():
    with pytest.raises(ProfileNotUsable, match="2026-02-28"):
        KNOWN.find("dated", date(2026, 2, 28))


@pytest.mark.parametrize("day", [None, date(2019, 1, 1), date(2030, 1, 1)])
def test_a_pinned_revision_is_that_one_on_every_day(day):
    assert KNOWN.find("kestrel@b", day).identity.revision == "b"


def test_without_a_date_only_a_single_undated_revision_is_meant():
    assert KNOWN.find("undated", None).identity.revision == "only"
    for name in ("kestrel", "dated"):
        with pytest.raises(ProfileNotUsable) as caught:
            KNOWN.find(name, None)
        (flaw,) = caught.value.flaws
        assert flaw.code == "revision-open"
        assert "performed_at" in flaw.detail
        assert "from 2026-03-01" in flaw.detail


@pytest.mark.parametrize("name", ["kestrel@c", "kestrel@", "kestral", "@b", ""])
def test_an_unknown_name_lists_what_there_is(name):
    with pytest.raises(ProfileNotUsable) as caught:
        KNOWN.find(name, date(2026, 3, 1))
    (flaw,) = caught.value.flaws
    assert flaw.code == "unknown-profile"
    assert "from 2026-03-01" in flaw.detail or "kestrel@first" in flaw.detail


def test_the_nearest_name_is_suggested():
    with pytest.raises(ProfileNotUsable, match='did you mean "kestrel"'):
        KNOWN.find("kestral", None)


def test_all_are_listed_by_id_and_revision():
    assert [profile.name for profile in KNOWN.all()] == [
        "dated@only",
        "kestrel@a",
        "kestrel@b",
        "kestrel@first",
        "undated@only",
    ]
