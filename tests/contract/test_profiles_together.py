"""The command says of files what a service would say of the folder that they lie in.

The client does not import the service, so the rule is written twice; here both are held to it.
Which names come with a service, only that service knows: that fault is left to it.
"""

import re
from pathlib import Path

import pytest

from weighworthy.cli import main
from weighworthy_service.profiles.folder import FolderNotUsable, load_folder

RULE = '[[rules]]\nchecks = ["simulated-loss"]\nlimits.loss_error = { within = "0.05 %" }\n'


def profile(id_, revision, begin=None, extends=None):
    lines = [f'id = "{id_}"', f'revision = "{revision}"']
    lines += [] if begin is None else [f"effective_from = {begin}"]
    lines += [] if extends is None else [f'extends = "{extends}"']
    return "\n".join(lines) + "\n\n" + RULE


SETS = {
    "one": [profile("kestrel", "1")],
    "two names": [profile("kestrel", "1"), profile("harbour", "1")],
    "the same name": [profile("kestrel", "1"), profile("kestrel", "1")],
    "the same name, another day": [
        profile("kestrel", "1", "2026-03-01"),
        profile("kestrel", "1", "2026-04-01"),
    ],
    "three of one name": [profile("kestrel", "1")] * 3,
    "two revisions from the beginning": [profile("kestrel", "1"), profile("kestrel", "2")],
    "two revisions from one day": [
        profile("kestrel", "1", "2026-03-01"),
        profile("kestrel", "2", "2026-03-01"),
    ],
    "a day as a text": [
        profile("kestrel", "1", "2026-03-01"),
        profile("kestrel", "2", '"2026-03-01"'),
    ],
    "revisions from different days": [
        profile("kestrel", "1"),
        profile("kestrel", "2", "2026-03-01"),
        profile("kestrel", "3", "2026-04-01"),
    ],
    "both faults": [
        profile("kestrel", "1"),
        profile("kestrel", "1"),
        profile("kestrel", "2"),
    ],
    "a child beside its parent": [
        profile("kestrel", "1"),
        profile("harbour", "1", extends="kestrel@1"),
    ],
}


@pytest.mark.parametrize("name", SETS)
def test_files_are_judged_together_as_a_folder_is(tmp_path, capsys, monkeypatch, name):
    for variable in ("WEIGHWORTHY_URL", "WEIGHWORTHY_API_KEY"):
        monkeypatch.delenv(variable, raising=False)
    for number, text in enumerate(SETS[name]):
        (tmp_path / f"{number}.toml").write_text(text, "utf-8")
    by_folder = set()
    try:
        load_folder(tmp_path)
    except FolderNotUsable as error:
        by_folder = {(fault.file, fault.code) for fault in error.errors}
    main(["profiles", "review", str(tmp_path)])
    told = capsys.readouterr().out
    found = re.findall(r"^(.*): (name-taken|ambiguous): .*\[error\]$", told, re.MULTILINE)
    assert {(Path(file).name, code) for file, code in found} == by_folder
