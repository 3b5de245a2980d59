import pytest
from marshmallow import ValidationError

from weighworthy_service.profiles.canonical import digest_of
from weighworthy_service.profiles.errors import ProfileNotUsable
from weighworthy_service.profiles.finding import built_in
from weighworthy_service.profiles.finding import find_profile as find


def find_profile(reference):
    return find(reference, built_in())


def general_profile():
    return built_in().find("weighworthy-general", None)


@pytest.mark.parametrize("reference", [None, "weighworthy-general", "weighworthy-general@1"])
def test_without_a_profile_and_by_its_name_the_general_one_is_in_force(reference):
    found = find_profile(reference)
    assert (found.identity.id, found.identity.revision) == ("weighworthy-general", "1")
    assert found is general_profile()


@pytest.mark.parametrize(
    "reference",
    ["kestrel-mill", "weighworthy-general@2", "weighworthy-general@", "Weighworthy-general", ""],
)
def test_another_name_is_refused_with_what_there_is(reference):
    with pytest.raises(ProfileNotUsable) as caught:
        find_profile(reference)
    (flaw,) = caught.value.flaws
    assert (flaw.path, flaw.code) == ((), "unknown-profile")
    assert repr(reference) in flaw.detail
    listed = "revisions: 1" if "@" in reference else "weighworthy-general@1"
    assert listed in flaw.detail


def test_a_profile_sent_along_is_read_and_known_by_its_content(document):
    sent = document({"limits": {"loss_error": {"within": "0.05 %"}}}, title="Bran")
    found = find_profile(sent)
    assert (found.identity.id, found.identity.revision) == ("kestrel-mill", "2026-03")
    assert found.identity.digest == digest_of(sent)
    assert found.title == "Bran"
    assert len(found.rules) == 1


def test_the_same_content_is_read_once_and_other_content_anew(document):
    first = find_profile(document({"sites": ["valley"]}))
    same = find_profile(dict(reversed(document({"sites": ["valley"]}).items())))
    other = find_profile(document({"sites": ["harbour"]}))
    assert same is first
    assert other.rules[0].sites == ("harbour",)


def test_faults_of_form_come_as_they_are_every_time(document):
    wrong = document({"limits": {"loss_error": {"within": 0.05}}})
    for _ in range(2):
        with pytest.raises(ValidationError) as caught:
            find_profile(wrong)
        message = caught.value.messages["rules"][0]["limits"]["loss_error"]["within"][0]
        assert message.code == "unit-missing"


def test_faults_of_meaning_come_all_at_once(document):
    with pytest.raises(ProfileNotUsable) as caught:
        find_profile(document({"limits": {"loss_eror": {"within": "1 %"}}}, extends="base"))
    assert [flaw.code for flaw in caught.value.flaws] == ["unknown-profile", "unknown-criterion"]
    assert "extends: " in str(caught.value)
    assert "rules/0/limits/loss_eror: " in str(caught.value)


def test_nobody_else_may_go_by_the_name_of_the_built_in_profile(document):
    with pytest.raises(ProfileNotUsable) as caught:
        find_profile(document(id="weighworthy-general", revision="1"))
    (flaw,) = caught.value.flaws
    assert (flaw.path, flaw.code) == (("id",), "name-taken")
    other = find_profile(document(id="weighworthy-general", revision="ours"))
    assert other.identity.revision == "ours"
