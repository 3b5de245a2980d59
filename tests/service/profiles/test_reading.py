"""A profile with all that it builds on, and what keeps it from building on something."""

from datetime import date

import pytest
from marshmallow import ValidationError

from weighworthy_service.profiles.document import Origin
from weighworthy_service.profiles.errors import ProfileNotUsable
from weighworthy_service.profiles.reading import read_profile
from weighworthy_service.profiles.store import ProfileSet
from weighworthy_service.wire.coded import field_errors

LIMIT = {"limits": {"loss_error": {"within": "0.05 %"}}}
TIGHT = {"limits": {"loss_error": {"within": "0.04 %"}}}


def written(own, *rules, **more):
    return {"id": own, "revision": "1", "rules": list(rules) or [{}], **more}


def refused(document, profiles=None):
    known = ProfileSet.of(profiles or [])
    with pytest.raises(ProfileNotUsable) as caught:
        read_profile(document, known)
    return [("/".join(map(str, flaw.path)), flaw.code) for flaw in caught.value.flaws]


def test_rules_of_the_parent_come_first_and_each_says_where_it_stands():
    grand = written("group", LIMIT, {"sites": ["valley"]})
    site = written("site", TIGHT, extends=written("base", {}, extends=grand))
    read = read_profile(site)
    assert [rule.origin for rule in read.rules] == [
        Origin("group", "1", "/rules/0"),
        Origin("group", "1", "/rules/1"),
        Origin("base", "1", "/rules/0"),
        Origin("site", "1", "/rules/0"),
    ]
    assert read.extends == ("base@1", "group@1")
    places = [rule.limits["loss_error"].place for rule in (read.rules[0], read.rules[3])]
    assert places == ["group@1 /rules/0/limits/loss_error", "site@1 /rules/0/limits/loss_error"]


def test_what_it_comes_down_to_means_the_same_and_has_the_same_digest():
    base = written("base", LIMIT, title="Base", approved_by="A. Brook", use_on=["pass"])
    read = read_profile(written("site", TIGHT, extends=base, effective_from="2026-03-01"))
    assert read.document == {
        "id": "site",
        "revision": "1",
        "effective_from": "2026-03-01",
        "use_on": ["pass"],
        "rules": [LIMIT, TIGHT],
    }
    again = read_profile(read.document)
    assert again.identity == read.identity
    assert again.use_on == read.use_on == ("pass",)
    assert [r.limits["loss_error"].limit for r in again.rules] == [
        r.limits["loss_error"].limit for r in read.rules
    ]


def test_title_approval_and_dates_are_never_inherited():
    base = written("base", title="Base", approved_by="A. Brook", effective_from="2026-01-01")
    read = read_profile(written("site", extends=base))
    assert (read.title, read.effective_from) == (None, None)
    assert set(read.document) == {"id", "revision", "rules"}


def test_a_parent_is_found_by_name():
    base = read_profile(written("base", LIMIT))
    known = ProfileSet.of([base])
    for name in ("base@1", "base"):
        read = read_profile(written("site", TIGHT, extends=name), known)
        nested = read_profile(written("site", TIGHT, extends=written("base", LIMIT)))
        assert read == nested


def test_a_plain_name_of_several_revisions_is_no_parent():
    """What a child means must not change with the day."""
    revisions = [
        read_profile(written("base", effective_from="2026-01-01")),
        read_profile(written("base", effective_from="2026-02-01") | {"revision": "2"}),
    ]
    assert refused(written("site", extends="base"), revisions) == [("extends", "revision-open")]
    known = ProfileSet.of(revisions)
    assert read_profile(written("site", extends="base@2"), known).extends == ("base@2",)


def test_a_missing_parent():
    assert refused(written("site", extends="base@1")) == [("extends", "unknown-profile")]


def test_a_profile_cannot_build_on_itself():
    inside = written("site", extends=written("base", extends=written("site")))
    assert refused(inside) == [("extends/extends", "extends-cycle")]
    base = read_profile(written("base", extends=written("site")))
    assert refused(written("site", extends="base@1"), [base]) == [("extends", "extends-cycle")]


def chain(length):
    document = written("p0")
    for position in range(1, length):
        document = written(f"p{position}", extends=document)
    return document


def test_four_parents_at_most():
    assert read_profile(chain(5)).extends == ("p3@1", "p2@1", "p1@1", "p0@1")
    assert "extends-too-deep" in {code for _, code in refused(chain(6))}
    known = [read_profile(chain(5))]
    assert refused(written("top", extends="p4@1"), known) == [("extends", "extends-too-deep")]


def test_faults_of_a_parent_inside_have_their_place_there():
    wrong = written("base", {"limits": {"loss_eror": {"within": "1 %"}}})
    assert refused(written("site", extends=wrong)) == [
        ("extends/rules/0/limits/loss_eror", "unknown-criterion")
    ]


def test_faults_of_form_of_both_come_at_once():
    with pytest.raises(ValidationError) as caught:
        read_profile(written("Site", extends=written("base", {"sits": ["valley"]})))
    assert set(caught.value.messages) == {"id", "extends"}
    assert "sits" in caught.value.messages["extends"]["rules"][0]


@pytest.mark.parametrize("extends", [3, [], "Base", {}, {"id": 3}, {"extends": {"extends": []}}])
def test_whatever_stands_there_is_refused_and_nothing_breaks(extends):
    with pytest.raises(ValidationError) as caught:
        read_profile(written("site", extends=extends))
    assert set(caught.value.messages) == {"extends"}


def test_rules_of_all_together_are_counted():
    base = written("base", *({} for _ in range(150)))
    assert refused(written("site", *({} for _ in range(51)), extends=base)) == [
        ("rules", "too-many")
    ]
    assert len(read_profile(written("site", *({} for _ in range(50)), extends=base)).rules) == 200


def test_dates_are_dates():
    read = read_profile(written("site", effective_from="2026-03-01", effective_to="2026-03-31"))
    assert read.effective_from == date(2026, 3, 1)
    assert read.effective_to == date(2026, 3, 31)


def faults(document):
    """Everything that is told of a document with faults of form."""
    with pytest.raises(ValidationError) as caught:
        read_profile(document)
    return {(error.pointer, error.code) for error in field_errors(caught.value.messages)}


def test_a_fault_inside_a_limit_does_not_hide_that_its_name_is_unknown():
    wrong = {"limits": {"loss_eror": {"wihtin": "0.05 %"}}}
    with pytest.raises(ValidationError) as caught:
        read_profile(written("site", LIMIT, wrong))
    first, second = field_errors(caught.value.messages)
    assert (first.pointer, first.code) == ("/rules/1/limits/loss_eror/wihtin", "unknown-field")
    assert (second.pointer, second.code) == ("/rules/1/limits/loss_eror", "unknown-criterion")
    assert 'did you mean "within"' in first.detail
    assert 'did you mean "loss_error"' in second.detail


def test_a_fault_of_form_in_one_rule_does_not_hide_what_others_mean():
    wrong, spam = {"limts": {}}, {"checks": ["spam"]}
    assert faults(written("site", wrong, LIMIT, spam, use_on=["fail"])) == {
        ("/rules/0/limts", "unknown-field"),
        ("/rules/2/checks/0", "not-one-of"),
        ("/use_on/0", "not-one-of"),
    }
    assert faults(written("Site", spam, titel="x")) == {
        ("/id", "malformed-text"),
        ("/titel", "unknown-field"),
        ("/rules/0/checks/0", "not-one-of"),
    }


@pytest.mark.parametrize(
    ("rules", "expected"),
    [
        (7, {("/rules", "wrong-type")}),
        ([], {("/rules", "too-few")}),
        ([7], {("/rules/0", "wrong-type")}),
        ([{"limits": 7}], {("/rules/0/limits", "wrong-type")}),
        ([None, {"checks": ["spam"]}],
         {("/rules/0", "required"), ("/rules/1/checks/0", "not-one-of")}),
    ],
)  # fmt: skip
def test_what_is_no_rule_at_all_is_told_alone(rules, expected):
    assert faults({"id": "site", "revision": "1", "rules": rules}) == expected


def test_flaws_of_a_parent_are_told_beside_faults_of_form():
    parent = written("base", {"checks": ["spam"]})
    assert faults(written("site", {"limts": {}}, extends=parent)) == {
        ("/rules/0/limts", "unknown-field"),
        ("/extends/rules/0/checks/0", "not-one-of"),
    }


@pytest.mark.parametrize(
    "many",
    [
        {"rules": [{"limits": {f"k{i}": {"bands": [{}] * 50} for i in range(5)}}] * 201},
        {"meta": [[[]]] + [0] * 49_995},
        {"extends": {"id": "b", "revision": "1", "rules": [{"sites": [["a"] * 250] * 200}]}},
    ],
)
def test_more_values_than_a_profile_can_need_are_not_looked_at_one_by_one(many):
    """Counted by hand: 201 x (2 + 5 x 52) > 50,000; 6 values around 49,995; 200 x 251."""
    with pytest.raises(ProfileNotUsable) as caught:
        read_profile({"id": "a", "revision": "1", **many})
    (flaw,) = caught.value.flaws
    assert (flaw.path, flaw.code) == ((), "too-many")
    assert "50000 values" in flaw.detail


def test_as_many_values_as_are_taken_are_looked_at():
    """The document, two texts, a list, and 49,996 in it."""
    with pytest.raises(ValidationError) as caught:
        read_profile({"id": "a", "revision": "1", "rules": [0] * 49_996})
    assert [error.code for error in field_errors(caught.value.messages)] == ["too-many"]
    with pytest.raises(ProfileNotUsable):
        read_profile({"id": "a", "revision": "1", "rules": [0] * 49_997})
