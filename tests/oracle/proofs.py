"""Proof files among the golden files: leaves, paths (RFC 6962) and signatures, checked by hand and by `cryptography`."""

import base64
import hashlib
import json
import pathlib

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

GOLDEN = pathlib.Path(__file__).resolve().parents[2] / "api" / "golden"


def decode(text):
    return base64.urlsafe_b64decode(text + "=" * (-len(text) % 4))


def hashed(*parts):
    return hashlib.sha256(b"".join(parts)).digest()


def root_of(index, size, leaf, path):
    """The root that an inclusion path leads to (RFC 9162, section 2.1.3.2)."""
    place, last, node = index, size - 1, leaf
    for sibling in path:
        assert last > 0, "the path is too long"
        if place & 1 or place == last:
            node = hashed(b"\1", sibling, node)
            while place and not place & 1:
                place, last = place >> 1, last >> 1
        else:
            node = hashed(b"\1", node, sibling)
        place, last = place >> 1, last >> 1
    assert last == 0, "the path is too short"
    return node


def check_note(note, policy):
    """The checkpoint under a log key of the policy; gives its size and root."""
    text, signatures = note.rsplit("\n\n", 1)
    text += "\n"
    for line in policy.splitlines():
        if not line.startswith("log "):
            continue
        name, key_id, key = line.split()[1].split("+", 2)
        public = base64.b64decode(key)
        assert public[0] == 1 and hashed(name.encode(), b"\n", public)[:4].hex() == key_id
        for signature in signatures.splitlines():
            _, signer, blob = signature.split(" ")
            blob = base64.b64decode(blob)
            if signer == name and blob[:4].hex() == key_id:
                Ed25519PublicKey.from_public_bytes(public[1:]).verify(blob[4:], text.encode())
                _, size, root = text.splitlines()
                return int(size), base64.b64decode(root)
    raise AssertionError("no log key of the policy signed the checkpoint")


def check_proof(proof, policy, keys):
    head, note = proof.split("\n\n", 1)
    first, extra, index, *path = head.split("\n")
    assert first == "c2sp.org/tlog-proof@v1"
    sd_jwt = base64.b64decode(extra.removeprefix("extra ")).decode("ascii")
    entry = sd_jwt.split("~", 1)[0]
    size, root = check_note(note, policy)
    index = int(index.removeprefix("index "))
    path = [base64.b64decode(line) for line in path]
    assert root_of(index, size, hashed(b"\0", entry.encode()), path) == root, "the path leads to another root"

    header, payload, signature = entry.split(".")
    for event in json.loads(decode(payload))["events"]:
        if event["kind"] == "key.added":
            keys[event["kid"]] = event["x"]
    public = Ed25519PublicKey.from_public_bytes(decode(keys[json.loads(decode(header))["kid"]]))
    public.verify(decode(signature), f"{header}.{payload}".encode())


def main():
    files = sorted(GOLDEN.glob("*.proof.json"))
    proofs = 0
    for file in files:
        whole = json.loads(file.read_text(encoding="utf-8"))
        keys = {}
        for proof in whole["proofs"]:
            check_proof(proof, whole["policy"], keys)
            proofs += 1
    if files:
        print(f"{proofs} proofs in {len(files)} proof files hold by cryptography")
    else:
        print("no proof file under api/golden: none checked")


main()
