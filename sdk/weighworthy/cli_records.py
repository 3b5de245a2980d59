"""``weighworthy records``: seal evaluations, verify records and chains of them, make a key."""

import argparse
import json
import os
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from weighworthy.cli_common import (
    FOUND,
    OK,
    UsageError,
    add_service_options,
    asking,
    connect,
    expanded,
    read_bytes,
    read_document,
    tell,
    write,
)
from weighworthy.cli_record_words import said_of, said_of_chain
from weighworthy.cli_words import SHAPES
from weighworthy.errors import FULL
from weighworthy.locks import locked
from weighworthy.record_results import Verification


def add_to(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the commands."""
    records = commands.add_parser("records", help="seal evaluations, and verify them later")
    actions = records.add_subparsers(required=True, metavar="ACTION")
    _add_seal(actions)
    verify = actions.add_parser(
        "verify",
        help="what agrees of a record",
        description="Hold records against their seals, and compute their evaluations anew. Exit "
        "code 1 unless each is signed by a known key, unchanged, and comes out again.",
    )
    verify.add_argument("files", nargs="+", metavar="FILE", help="a record each; patterns allowed")
    verify.set_defaults(run=_verify)
    chain = actions.add_parser(
        "verify-chain",
        help="whether records follow each other without a gap",
        description="Verify records in their order, one a line, and tell where one does not follow "
        "the one before it. Exit code 1 unless all do, and each is as `verify` wants it.",
    )
    chain.add_argument("file", help="records, one a line")
    chain.add_argument(
        "--last", metavar="DIGEST", help="digest of the last record, as kept elsewhere"
    )
    chain.set_defaults(run=_verify_chain)
    for parser in (verify, chain):
        parser.add_argument(
            "--seal-keys", metavar="FILE", help="file or folder of public keys (JWK, PEM)"
        )
        parser.add_argument(
            "--unsigned", action="store_true", help="be content with records that nobody signed"
        )
        add_service_options(parser)
    _add_new_key(actions)


def _add_seal(actions: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    seal = actions.add_parser(
        "seal",
        help="judge one check and seal the evaluation",
        description="Judge one check and write the record: request, profile, answer and seal. Exit "
        "code 1 when its verdict lets nothing be used; the record is written all the same.",
    )
    seal.add_argument("kind", help="span, linearity, simulated-loss, …")
    seal.add_argument("file", help="request, JSON or TOML; - for standard input")
    after = seal.add_mutually_exclusive_group()
    after.add_argument("--previous", metavar="DIGEST", help="digest of the record before")
    after.add_argument(
        "--append", metavar="FILE", help="put it behind the last of these records, one a line"
    )
    seal.add_argument("--sealed-at", metavar="TIME", help="with offset; otherwise now")
    seal.add_argument("--sealing-key", metavar="FILE", help="the private key that signs (JWK, PEM)")
    add_service_options(seal)
    seal.set_defaults(run=_seal)


def _add_new_key(actions: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    new_key = actions.add_parser(
        "new-key",
        help="make a key that seals",
        description="Make an Ed25519 key. The private key goes to a file that only you can read; "
        "the public one, for whoever verifies, to standard output, both as JWK.",
    )
    new_key.add_argument("file", help="for the private key; must not be there yet")
    new_key.add_argument("--id", metavar="TEXT", help="of the key; otherwise its thumbprint")
    new_key.set_defaults(run=_new_key)


def _seal(arguments: argparse.Namespace) -> int:
    request = read_document(arguments.file)
    if not isinstance(request, dict):
        raise UsageError(f"{arguments.file}: a request is an object")
    if arguments.append is None:
        return _sealed(arguments, request, arguments.previous, None)
    chain = Path(arguments.append)
    try:
        # Two that append at once would both follow the same record.
        with locked(chain):
            return _sealed(arguments, request, _last_digest(chain), chain)
    except (ValueError, OSError) as error:
        if isinstance(error, OSError) and error.errno in FULL:
            raise
        raise UsageError(str(error)) from error


def _sealed(
    arguments: argparse.Namespace,
    request: Mapping[str, Any],
    previous: str | None,
    chain: Path | None,
) -> int:
    with connect(arguments) as client, asking():
        record = client.records.seal(
            arguments.kind, request, previous=previous, sealed_at=arguments.sealed_at
        )
    if chain is not None:
        with chain.open("ab") as file:
            file.write(record.raw + b"\n")
            file.flush()
            # The next one follows it: it must not be lost with the power.
            os.fsync(file.fileno())
    if chain is None or arguments.output:
        write(arguments, record.raw.decode())
    signed = "" if record.signature else ", not signed: there is no key"
    tell(arguments, f"{SHAPES[record.answer.verdict]}; {record.digest}{signed}")
    return OK if record.answer.usable else FOUND


def _last_digest(chain: Path) -> str | None:
    """Digest of the last record of a file; None where there is none yet."""
    last = b""
    if chain.exists():
        with chain.open("rb") as file:
            for line in file:
                last = line if line.strip() else last
    if not last:
        return None
    try:
        digest = json.loads(last)["digest"]
    except (ValueError, RecursionError, TypeError, KeyError):
        digest = None
    if not isinstance(digest, str) or not last.endswith(b"\n"):
        raise UsageError(f"{chain}: its last line is no whole record; nothing is put behind it")
    return digest


def _verify(arguments: argparse.Namespace) -> int:
    told, sound = [], True
    with connect(arguments) as client:
        for name in expanded(arguments.files):
            found = client.records.verify(read_bytes(name))
            sound = sound and _is_sound(arguments, found)
            told.append(found.raw.decode() if arguments.json else "\n".join(said_of(name, found)))
    if arguments.json or not arguments.quiet or arguments.output:
        write(arguments, "\n".join(told))
    return OK if sound else FOUND


def _verify_chain(arguments: argparse.Namespace) -> int:
    if not _first_byte(arguments.file):
        raise UsageError(f"{arguments.file}: the file is empty")
    with connect(arguments) as client:
        found = client.records.verify_chain(arguments.file, last=arguments.last)
    if arguments.json:
        write(arguments, found.raw.decode())
    elif not arguments.quiet or arguments.output:
        write(arguments, "\n".join(said_of_chain(arguments.file, found)))
    signed = found.seals["ok"] + (found.seals["unsigned"] if arguments.unsigned else 0)
    return OK if found.agrees and signed == found.records else FOUND


def _first_byte(name: str) -> bytes:
    try:
        with open(name, "rb") as file:
            return file.read(1)
    except OSError as error:
        raise UsageError(f"{name}: {error.strerror or error}") from error


def _is_sound(arguments: argparse.Namespace, found: Verification) -> bool:
    return found.sound or (arguments.unsigned and found.seal == "unsigned" and found.agrees)


def _new_key(arguments: argparse.Namespace) -> int:
    try:
        from joserfc.jwk import OKPKey  # noqa: PLC0415  only who makes keys needs it
    except ImportError as error:
        raise ImportError(
            "a key needs joserfc: pip install 'weighworthy[service]'", name=error.name
        ) from error
    key = OKPKey.generate_key("Ed25519")
    id_ = arguments.id or key.thumbprint()
    if not id_.isprintable():
        raise UsageError("--id: one line of text")
    private = {**key.as_dict(private=True), "kid": id_, "use": "sig", "alg": "Ed25519"}
    public = {name: value for name, value in private.items() if name != "d"}
    try:
        # Never written over: records that an earlier key sealed need it to be known.
        descriptor = os.open(arguments.file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except OSError as error:
        raise UsageError(f"{arguments.file}: {error.strerror or error}") from error
    with os.fdopen(descriptor, "w", encoding="utf-8") as file:
        file.write(json.dumps(private) + "\n")
    sys.stdout.write(json.dumps(public) + "\n")
    return OK
