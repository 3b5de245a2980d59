"""The commands about records, on the embedded service: what they write, say, and end with."""

import base64
import hashlib
import json
import stat

import pytest
import rfc8785

from weighworthy.cli import main

SITE = """
[weights.A20]
nominal = "20 g"
weight_class = "OIML F1"
[instruments.MA-1]
scale_interval = "1 mg"
repeatability = "0.5 mg"
"""
GOOD = {
    "instrument": "MA-1",
    "rounds": [{"load": ["A20"], "zero": "0.000 g", "indication": "20.001 g"}],
}
BAD = {**GOOD, "rounds": [{"load": ["A20"], "zero": "0.000 g", "indication": "20.050 g"}]}
SEAL = ("records", "seal", "span")
SEALED = ("--site", "site.toml", "--sealing-key", "own.jwk")
KNOWN = ("--seal-keys", "own.pub")


@pytest.fixture(autouse=True)
def folder(tmp_path, monkeypatch, capsys):
    for name in ("WEIGHWORTHY_URL", "WEIGHWORTHY_API_KEY"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.chdir(tmp_path)
    (tmp_path / "site.toml").write_text(SITE)
    (tmp_path / "good.json").write_text(json.dumps(GOOD))
    (tmp_path / "bad.json").write_text(json.dumps(BAD))
    assert main(["records", "new-key", "own.jwk", "--id", "kestrel"]) == 0
    (tmp_path / "own.pub").write_text(capsys.readouterr().out)
    return tmp_path


def chain_of_three():
    for file in ("good.json", "bad.json", "good.json"):
        main([*SEAL, file, *SEALED, "--append", "chain.ndjson", "--quiet"])


def test_new_key(folder, capsys):
    private = json.loads((folder / "own.jwk").read_text())
    public = json.loads((folder / "own.pub").read_text())
    assert private.keys() - public.keys() == {"d"}
    assert public["kid"] == "kestrel"
    assert stat.S_IMODE((folder / "own.jwk").stat().st_mode) == 0o600
    before = (folder / "own.jwk").read_text()
    assert main(["records", "new-key", "own.jwk"]) == 2
    assert (folder / "own.jwk").read_text() == before
    assert private["d"] not in capsys.readouterr().err


def test_seal_and_verify(folder, capsys):
    assert main([*SEAL, "good.json", *SEALED, "-o", "one.json"]) == 0
    assert "● pass; sha256:" in capsys.readouterr().err
    assert main(["records", "verify", "one.json", *KNOWN]) == 0
    said = capsys.readouterr().out
    assert said.startswith("one.json: ● sealed, ● comes out again\n")
    assert "key kestrel" in said
    assert main(["records", "verify", "one.json", *KNOWN, "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["seal"] == "ok"


def test_a_failed_check_is_sealed_and_told(folder):
    assert main([*SEAL, "bad.json", *SEALED, "-o", "one.json"]) == 1
    assert main(["records", "verify", "one.json", *KNOWN]) == 0


def test_every_way_of_not_being_sound_ends_with_1(folder, capsys):
    main([*SEAL, "good.json", *SEALED, "-o", "one.json"])
    text = (folder / "one.json").read_text()
    (folder / "two.json").write_text(text.replace("20.001 g", "20.000 g"))
    capsys.readouterr()
    assert main(["records", "verify", "one.json", "two.json", *KNOWN]) == 1
    said = capsys.readouterr().out
    assert "one.json: ● sealed" in said
    assert "two.json: ■ ALTERED, ■ does NOT come out again" in said
    assert "/criteria/0/value: 0.001 recorded, 0.0 now" in said
    assert main(["records", "verify", "one.json"]) == 1
    assert "□ sealed by an unknown key" in capsys.readouterr().out


def test_unsigned_records_are_sound_only_where_somebody_says_so(folder, capsys):
    assert main([*SEAL, "good.json", "--site", "site.toml", "-o", "one.json"]) == 0
    assert "not signed" in capsys.readouterr().err
    assert main(["records", "verify", "one.json"]) == 1
    assert "○ not signed, ● comes out again" in capsys.readouterr().out
    assert main(["records", "verify", "one.json", "--unsigned"]) == 0


def test_a_chain_is_appended_and_verified(folder, capsys):
    chain_of_three()
    lines = [json.loads(line) for line in (folder / "chain.ndjson").read_text().splitlines()]
    assert [line["previous"] for line in lines] == [None, *(line["digest"] for line in lines[:2])]
    capsys.readouterr()
    last = lines[-1]["digest"]
    assert main(["records", "verify-chain", "chain.ndjson", *KNOWN, "--last", last]) == 0
    assert "● unbroken\n    3 records: 3 ok; 3 come out again" in capsys.readouterr().out
    kept = (folder / "chain.ndjson").read_text().splitlines(keepends=True)
    (folder / "chain.ndjson").write_text(kept[0] + kept[2])
    assert main(["records", "verify-chain", "chain.ndjson", *KNOWN]) == 1
    assert "chain.ndjson:2: " in capsys.readouterr().out


def test_texts_of_an_altered_record_cannot_speak_for_the_command(folder, capsys):
    main([*SEAL, "good.json", *SEALED, "-o", "one.json"])
    record = json.loads((folder / "one.json").read_text())
    forged = "\x1b[2J\ngood.json: ● sealed, ● comes out again\u202e"
    header = base64.urlsafe_b64encode(json.dumps({"alg": "Ed25519", "kid": forged}).encode())
    record["signature"] = header.rstrip(b"=").decode() + ".." + "A" * 86
    record["answer"] |= {"verdict": forged, forged: 1}
    (folder / "one.json").write_text(json.dumps(record))
    (folder / "chain.ndjson").write_text(json.dumps(record))
    capsys.readouterr()
    for command, name in (("verify", "one.json"), ("verify-chain", "chain.ndjson")):
        assert main(["records", command, name, *KNOWN]) == 1
        first, *lines = capsys.readouterr().out.splitlines()
        assert first.startswith(name)
        assert all(line.startswith("    ") and line.isprintable() for line in lines)


def test_a_chain_whose_first_records_are_missing_says_so(folder, capsys):
    chain_of_three()
    first, *kept = (folder / "chain.ndjson").read_text().splitlines(keepends=True)
    capsys.readouterr()
    main(["records", "verify-chain", "chain.ndjson", *KNOWN])
    assert "first: " not in capsys.readouterr().out
    (folder / "chain.ndjson").write_text("".join(kept))
    main(["records", "verify-chain", "chain.ndjson", *KNOWN])
    said = capsys.readouterr().out
    assert f"first: follows {json.loads(first)['digest']}, which is not in this list" in said


def test_an_empty_chain_is_no_chain(folder, capsys):
    (folder / "chain.ndjson").write_bytes(b"")
    assert main(["records", "verify-chain", "chain.ndjson", *KNOWN]) == 2
    assert "chain.ndjson: the file is empty" in capsys.readouterr().err


def test_of_a_chain_that_was_linked_anew_unbroken_is_not_all_that_is_said(folder, capsys):
    chain_of_three()
    lines = [json.loads(line) for line in (folder / "chain.ndjson").read_text().splitlines()]
    last = lines[2] | {"previous": lines[0]["digest"]}
    content = {name: last[name] for name in last.keys() - {"digest", "signature"}}
    last["digest"] = "sha256:" + hashlib.sha256(rfc8785.dumps(content)).hexdigest()
    (folder / "chain.ndjson").write_text(json.dumps(lines[0]) + "\n" + json.dumps(last))
    capsys.readouterr()
    assert main(["records", "verify-chain", "chain.ndjson", *KNOWN]) == 1
    first, *said = capsys.readouterr().out.splitlines()
    assert first == "chain.ndjson: ● unbroken, ■ ALTERED, ■ does NOT come out again"
    assert "    2 records: 1 ok, 1 altered; 1 come out again" in said


def test_nothing_is_put_behind_a_torn_line(folder, capsys):
    chain_of_three()
    torn = (folder / "chain.ndjson").read_text()[:-40]
    (folder / "chain.ndjson").write_text(torn)
    assert main([*SEAL, "good.json", *SEALED, "--append", "chain.ndjson"]) == 2
    assert "no whole record" in capsys.readouterr().err
    assert (folder / "chain.ndjson").read_text() == torn


@pytest.mark.parametrize(
    ("arguments", "code"),
    [
        ([*SEAL, "no-such.json"], 2),
        ([*SEAL, "good.json", "--sealing-key", "site.toml"], 2),
        ([*SEAL, "good.json", "--url", "http://127.0.0.1:9", "--sealing-key", "own.jwk"], 2),
        ([*SEAL, "good.json", "--previous", "abc", "--site", "site.toml"], 4),
        (["records", "verify", "no-such.json"], 2),
        (["records", "verify", "good.json"], 4),
        (["records", "verify", "site.toml"], 4),
        (["records", "verify-chain", "no-such.ndjson"], 2),
    ],
)
def test_wrong_usage_and_refusals(folder, arguments, code):
    assert main(arguments) == code
