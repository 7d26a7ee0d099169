"""Every golden entry, read and verified by libraries that others wrote.

`sd-jwt` opens each entry with all disclosures, with each one alone and with none; `cryptography` checks the signature;
`hashlib` the leaf hash; `jwcrypto` the thumbprint. Nothing of Pourbook is called.
"""

import base64
import hashlib
import json
import pathlib
import sys

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
from jwcrypto.jwk import JWK
from sd_jwt.verifier import SDJWTVerifier

GOLDEN = pathlib.Path(__file__).resolve().parents[2] / "api" / "golden"


def decode(text):
    return base64.urlsafe_b64decode(text + "=" * (-len(text) % 4))


def encode(data):
    return base64.urlsafe_b64encode(data).rstrip(b"=").decode()


def verified(entry, texts, key):
    """The claims as `sd-jwt` gives them, once it has checked the signature and every disclosure."""
    verifier = SDJWTVerifier(entry + "~" + "".join(text + "~" for text in texts), lambda issuer, header: key)
    return verifier.get_verified_payload()


def check_entry(golden):
    entry = golden["entry"]
    key = JWK(kty="OKP", crv="Ed25519", x=golden["x"])
    signed, signature = entry.rsplit(".", 1)
    public = Ed25519PublicKey.from_public_bytes(decode(golden["x"]))
    public.verify(decode(signature), signed.encode("ascii"))
    try:
        public.verify(decode(signature), signed[:-1].encode("ascii"))
        raise AssertionError("a shortened text must not verify")
    except InvalidSignature:
        pass

    header = json.loads(decode(entry.split(".")[0]))
    assert header == {"alg": "Ed25519", "typ": "pourbook-entry+sd-jwt", "kid": key.thumbprint()}, header
    leaf = hashlib.sha256(b"\0" + entry.encode("ascii")).digest()
    assert encode(leaf) == golden["leaf"], "leaf hash"

    plain = json.loads(decode(entry.split(".")[1]))
    texts = [disclosure["text"] for disclosure in golden["disclosures"]]
    check_claims(plain, verified(entry, [], key), [])
    check_claims(plain, verified(entry, texts, key), golden["disclosures"])
    for one in golden["disclosures"][:4]:
        check_claims(plain, verified(entry, [one["text"]], key), [one])
    alien = encode(b'["AAECAwQFBgcICQoLDA0ODw","note","x"]')
    try:
        opened = verified(entry, [alien], key)
    except ValueError:
        return
    # The library passes over a disclosure that matches nothing, which Pourbook refuses; its value must not get in.
    check_claims(plain, opened, [])


def check_claims(plain, opened, disclosures):
    """The opened claims are the plain ones, without digests and with the disclosed members in their events."""
    expected = json.loads(json.dumps(plain))
    expected.pop("_sd_alg", None)
    for event in expected["events"]:
        event.pop("_sd", None)
    for disclosure in disclosures:
        salt, member, value = json.loads(decode(disclosure["text"]))
        assert member == disclosure["member"] and len(decode(salt)) == 16
        assert member not in expected["events"][disclosure["event"]]
        expected["events"][disclosure["event"]][member] = value
    assert opened == expected, (opened, expected)


def main():
    files = sorted(GOLDEN.glob("*.entry.json"))
    assert files, "there are golden entries"
    for file in files:
        try:
            check_entry(json.loads(file.read_text(encoding="utf-8")))
        except Exception as error:
            print(f"{file.name}: {error!r}", file=sys.stderr)
            raise
    print(f"{len(files)} golden entries hold by sd-jwt, cryptography and jwcrypto")


main()
