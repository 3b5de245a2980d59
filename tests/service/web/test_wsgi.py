"""What a server puts in place of the running application when it is told to reload."""

import hashlib
import sys

import pytest

from weighworthy_service.web.app import create_app
from weighworthy_service.web.settings import Settings

PROFILE = 'id = "kestrel"\nrevision = "{}"\n[[rules]]\n'


@pytest.fixture
def renewed(monkeypatch):
    """The function; its module makes an application when it is imported."""
    monkeypatch.setenv("WEIGHWORTHY_ANONYMOUS", "yes")
    monkeypatch.delenv("WEIGHWORTHY_KEYS_FILE", raising=False)
    monkeypatch.delenv("WEIGHWORTHY_PROFILES", raising=False)
    monkeypatch.delitem(sys.modules, "weighworthy_service.web.wsgi", raising=False)
    from weighworthy_service.web.wsgi import renewed

    return renewed


@pytest.fixture
def running(tmp_path):
    (tmp_path / "kestrel.toml").write_text(PROFILE.format(1))
    return create_app(Settings("yes", profiles=tmp_path))


def environment(folder, **more):
    return {"WEIGHWORTHY_ANONYMOUS": "yes", "WEIGHWORTHY_PROFILES": str(folder), **more}


def revision(app):
    return app.test_client().get("/v1/profiles/kestrel").get_json()["revision"]


def test_a_good_folder_makes_a_new_application_and_leaves_the_old_one_alone(
    renewed, running, tmp_path
):
    (tmp_path / "kestrel.toml").write_text(PROFILE.format(2))
    after = renewed(running, environment(tmp_path))
    assert (revision(running), revision(after)) == ("1", "2")
    assert after.test_client().get("/readyz").get_json()["not_reloaded"] == []


def test_a_broken_folder_leaves_everything_and_is_reported(renewed, running, tmp_path):
    (tmp_path / "kestrel.toml").write_text("id =\n")
    (tmp_path / "other.toml").write_text("id =\n")
    assert renewed(running, environment(tmp_path)) is running
    reply = running.test_client().get("/readyz")
    assert reply.status_code == 200
    said = reply.get_json()["not_reloaded"]
    assert [line.split(" ")[0] for line in said] == ["kestrel.toml:1:", "other.toml:1:"]
    assert revision(running) == "1"


def test_the_report_goes_with_the_fault(renewed, running, tmp_path):
    (tmp_path / "kestrel.toml").write_text("id =\n")
    assert renewed(running, environment(tmp_path)) is running
    (tmp_path / "kestrel.toml").write_text(PROFILE.format(2))
    after = renewed(running, environment(tmp_path))
    assert after.test_client().get("/readyz").get_json()["not_reloaded"] == []


def test_keys_are_read_anew_too_and_broken_ones_change_nothing(renewed, running, tmp_path):
    keys = tmp_path / "keys"
    keys.write_text(f"sha256:{hashlib.sha256(b'secret').hexdigest()}\n")
    settings = environment(tmp_path, WEIGHWORTHY_ANONYMOUS="no", WEIGHWORTHY_KEYS_FILE=str(keys))
    after = renewed(running, settings)
    assert after.test_client().get("/v1/profiles").status_code == 401
    keys.write_text("secret\n")
    assert renewed(after, settings) is after
    (said,) = after.test_client().get("/readyz").get_json()["not_reloaded"]
    assert "line 1 of the key file" in said
    assert "secret" not in said
