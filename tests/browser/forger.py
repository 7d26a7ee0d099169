"""What somebody can make who has stolen the log key, and not the recorder's: another tree over altered entries, signed.

Written from RFC 6962 and the C2SP pages on tlog-proof, signed notes and checkpoints; it shares nothing with the program.
"""

import base64
import hashlib
import json

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey


def leaf_hash(entry):
    """RFC 6962, 2.1."""
    return hashlib.sha256(b"\0" + entry).digest()


def node_hash(left, right):
    """RFC 6962, 2.1."""
    return hashlib.sha256(b"\1" + left + right).digest()


def split(count):
    """The largest power of two below a count."""
    return 1 << ((count - 1).bit_length() - 1)


def root_of(leaves):
    """RFC 6962, 2.1: the tree head."""
    if len(leaves) == 1:
        return leaves[0]
    at = split(len(leaves))
    return node_hash(root_of(leaves[:at]), root_of(leaves[at:]))


def path_of(index, leaves):
    """RFC 6962, 2.1.1: the audit path."""
    if len(leaves) == 1:
        return []
    at = split(len(leaves))
    if index < at:
        return path_of(index, leaves[:at]) + [root_of(leaves[at:])]
    return path_of(index - at, leaves[at:]) + [root_of(leaves[:at])]


class Proof:
    """One C2SP tlog-proof, taken apart."""

    def __init__(self, text):
        head, self.checkpoint = text.split("\n\n", 1)
        _, extra, index, *_ = head.split("\n")
        self.index = int(index.removeprefix("index "))
        self.entry = base64.b64decode(extra.removeprefix("extra ")).rstrip(b"~")

    def text(self, leaves, checkpoint):
        """The same entry on another tree."""
        lines = ["c2sp.org/tlog-proof@v1", "extra " + base64.b64encode(self.entry + b"~").decode(), f"index {self.index}"]
        lines += [base64.b64encode(node).decode() for node in path_of(self.index, leaves)]
        return "\n".join(lines) + "\n\n" + checkpoint


class Forger:
    """Holds the stolen key of a log, and the hashes of its leaves."""

    def __init__(self, folder, leaves):
        _, _, _thumbprint, secret = (folder / "keys" / "log.key").read_text().split()
        self.key = Ed25519PrivateKey.from_private_bytes(base64.urlsafe_b64decode(secret + "="))
        self.leaves = list(leaves)

    def checkpoint(self, origin, leaves):
        """A signed note over a tree: C2SP tlog-checkpoint and signed-note."""
        text = f"{origin}\n{len(leaves)}\n{base64.b64encode(root_of(leaves)).decode()}\n"
        public = self.key.public_key().public_bytes_raw()
        known = hashlib.sha256(origin.encode() + b"\n\x01" + public).digest()[:4]
        signature = base64.b64encode(known + self.key.sign(text.encode())).decode()
        return f"{text}\n\N{EM DASH} {origin} {signature}\n"

    def file(self, whole, alter):
        """A proof file whose proofs went through `alter` (a list of proofs in, a list out), on a tree of its own that is signed."""
        told = json.loads(whole)
        proofs = alter([Proof(text) for text in told["proofs"]])
        leaves = list(self.leaves)
        for proof in proofs:
            leaves[proof.index] = leaf_hash(proof.entry)
        checkpoint = self.checkpoint(told["origin"], leaves)
        told["proofs"] = [proof.text(leaves, checkpoint) for proof in proofs]
        return json.dumps(told, separators=(",", ":"), ensure_ascii=False).encode() + b"\n", checkpoint.encode(), leaves


def replaced(entry, old, new):
    """An entry whose payload says something else, under the signature that it had."""
    head, payload, signature = entry.split(b".")
    text = base64.urlsafe_b64decode(payload + b"=" * (-len(payload) % 4))
    assert old in text, f"{old!r} is not in {text!r}"
    payload = base64.urlsafe_b64encode(text.replace(old, new)).rstrip(b"=")
    return b".".join([head, payload, signature])
