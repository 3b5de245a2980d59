"""RFC 8037, appendix A (Ed25519 in JOSE), RFC 7515 A.5 and F, RFC 7797, 4: their examples.

From memory, not read again. Key, thumbprint and signature of RFC 8037 confirm each other: none of
them could be remembered wrong and still fit.
"""

import base64
import json
from pathlib import Path

import pytest
from joserfc import jws
from joserfc.errors import SecurityWarning
from joserfc.jwk import OKPKey

from weighworthy_service.evidence.records.keys import SealKeys
from weighworthy_service.evidence.records.seals import seal_of
from weighworthy_service.evidence.records.signing import read_seal_keys

# A.1; A.2 is the same without d.
KEY = {
    "kty": "OKP",
    "crv": "Ed25519",
    "d": "nWGxne_9WmC6hEr0kuwsxERJxWl7MmkZcDusAxyuf2A",
    "x": "11qYAYKxCrfVS_7TyWQHOg7hcvPapiMlrwIaaPcHURo",
}
THUMBPRINT = "kPrK_qmxVWaYVA9wwBF6Iuo3vVzz7TxHCTwXBygrS4k"  # A.3
PAYLOAD = b"Example of Ed25519 signing"  # A.4
HEADER = "eyJhbGciOiJFZERTQSJ9"
SIGNATURE = "hgyY0il_MGCjP0JzlnLWG1PPOt7-09PGcvMg3AIbQR6dWbhijcNR4ki4iylGjg5BhVsPt9g7sVvpAr_MuM0KAg"


@pytest.fixture
def keys(tmp_path: Path) -> SealKeys:
    file = tmp_path / "key.jwk"
    file.write_text(json.dumps(KEY))
    return read_seal_keys(file, None)


def test_a_key_without_an_id_has_its_thumbprint(keys: SealKeys) -> None:
    assert keys.sealing is not None
    assert keys.sealing.id == THUMBPRINT
    assert keys.known[THUMBPRINT].jwk["x"] == KEY["x"]
    assert "d" not in keys.known[THUMBPRINT].jwk


def test_signature_of_a4() -> None:
    """The library below makes and takes it: Ed25519 is deterministic."""
    key = OKPKey.import_key(dict(KEY))
    # RFC 9864 gave the algorithm its present name; the library warns of the older one.
    with pytest.warns(SecurityWarning, match="RFC 9864"):
        made = jws.serialize_compact({"alg": "EdDSA"}, PAYLOAD, key, algorithms=["EdDSA"])
    assert made.split(".")[0] == HEADER
    assert made.split(".")[2] == SIGNATURE


def test_the_same_bits_under_our_header_are_another_signature(keys: SealKeys) -> None:
    """The header is signed too, as RFC 7515, 5.1 has it: another algorithm, another signature."""
    assert keys.sealing is not None
    header, _, signature = keys.sealing.sign(PAYLOAD).split(".")
    told = json.loads(base64.urlsafe_b64decode(header + "=="))
    assert told == {"alg": "Ed25519", "kid": THUMBPRINT}
    assert signature != SIGNATURE


@pytest.mark.parametrize(
    ("signature", "code"),
    [
        # RFC 8037, A.4, its payload detached: the older name of the algorithm.
        (f"{HEADER}..{SIGNATURE}", "algorithm-refused"),
        # RFC 7515, A.5, an unsecured JWS.
        ("eyJhbGciOiJub25lIn0..", "algorithm-refused"),
        # RFC 7515, A.1, with HMAC.
        (
            "eyJ0eXAiOiJKV1QiLA0KICJhbGciOiJIUzI1NiJ9..dBjftJeZ4CVP-mB92K27uhbUJU1p1r_wW1gFWFOEjXk",
            "algorithm-refused",
        ),
        # RFC 7797, 4.2, with b64 false.
        (
            (
                "eyJhbGciOiJIUzI1NiIsImI2NCI6ZmFsc2UsImNyaXQiOlsiYjY0Il19.."
                "A5dxf2s96_n5FLueVuW1Z_vh161FwXZC4YLPff6dmDY"
            ),
            "algorithm-refused",
        ),
    ],
)
def test_examples_with_other_algorithms_are_refused(
    keys: SealKeys, signature: str, code: str
) -> None:
    seal = seal_of({"digest": "sha256:0", "signature": signature}, PAYLOAD, keys)
    assert seal.state == "altered"
    assert code in [reason.code for reason in seal.reasons]
