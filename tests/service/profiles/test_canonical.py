import hashlib

import pytest

from weighworthy_service.profiles.canonical import digest_of, from_toml

TOML = """
# The valley site dries bran.
revision = "2026-03"
id = "kestrel-mill"
effective_from = 2026-03-01

[[rules]]
checks = ["simulated-loss"]
limits.loss_error = { within = "0.05 %" }   # agreed with production
validity = { points = { at_least = 5, else = "no-pass" } }
"""
JSON = {
    "id": "kestrel-mill",
    "revision": "2026-03",
    "effective_from": "2026-03-01",
    "rules": [
        {
            "checks": ["simulated-loss"],
            "limits": {"loss_error": {"within": "0.05 %"}},
            "validity": {"points": {"at_least": 5, "else": "no-pass"}},
        }
    ],
}
# RFC 8785 form of the above, written by hand: keys in order, no blanks.
BYTES = (
    b'{"effective_from":"2026-03-01","id":"kestrel-mill","revision":"2026-03",'
    b'"rules":[{"checks":["simulated-loss"],"limits":{"loss_error":{"within":"0.05 %"}},'
    b'"validity":{"points":{"at_least":5,"else":"no-pass"}}}]}'
)


def test_toml_and_json_are_one_document():
    assert from_toml(TOML) == JSON


def test_the_digest_is_that_of_the_canonical_bytes():
    expected = "sha256:" + hashlib.sha256(BYTES).hexdigest()
    assert digest_of(JSON) == expected
    assert digest_of(from_toml(TOML)) == expected


def test_the_order_of_keys_and_null_members_have_no_influence():
    reordered = dict(reversed(JSON.items()))
    nulls = {**JSON, "title": None, "rules": [{**JSON["rules"][0], "sites": None}]}
    assert digest_of(reordered) == digest_of(JSON)
    assert digest_of(nulls) == digest_of(JSON)


@pytest.mark.parametrize(
    "other",
    [
        {**JSON, "revision": "2026-04"},
        {**JSON, "title": ""},
        {**JSON, "rules": [{**JSON["rules"][0], "limits": {"loss_error": {"within": "0.050 %"}}}]},
        {**JSON, "rules": JSON["rules"] * 2},
    ],
)
def test_content_has_influence(other):
    assert digest_of(other) != digest_of(JSON)


@pytest.mark.parametrize(
    ("written", "read"),
    [
        ("2026-03-01", "2026-03-01"),
        ("2026-03-01T08:00:00Z", "2026-03-01T08:00:00+00:00"),
        ("08:00:00", "08:00:00"),
    ],
)
def test_dates_and_times_become_texts(written, read):
    assert from_toml(f"x = [{{ y = {written} }}]") == {"x": [{"y": read}]}
