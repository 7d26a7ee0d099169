"""The lies: what a server alters while its script is honest, and what exposes it, if anything does.

Each lie answers one request: it is given the path and the true body, and answers what is sent. `exposed` is the step of the
check that fails; None means that nothing exposes it, which `said` must then say on the page itself.
"""

import base64
import json

from forger import Forger, replaced


class Lie:
    """One lie, how it is looked at, and what must come of it."""

    def __init__(self, name, alter, exposed, by, *, link=True, before=None, said=None, state="certified"):
        self.name, self.alter, self.exposed, self.by = name, alter, exposed, by
        self.link, self.before, self.said, self.state = link, before, said, state


def through(whole, change):
    """A proof file whose list of proofs is changed."""
    told = json.loads(whole)
    told["proofs"] = change(told["proofs"])
    return json.dumps(told, separators=(",", ":"), ensure_ascii=False).encode() + b"\n"


def payload_of(text):
    """The payload of the entry in a proof."""
    extra = text.split("\n")[1].removeprefix("extra ")
    payload = base64.b64decode(extra).split(b".")[1]
    return base64.urlsafe_b64decode(payload + b"=" * (-len(payload) % 4))


def heavier(text):
    """A proof whose entry states 0.60 g more, under the signature and the path that it had."""
    lines = text.split("\n")
    entry = base64.b64decode(lines[1].removeprefix("extra ")).rstrip(b"~")
    lines[1] = "extra " + base64.b64encode(replaced(entry, b"50.37", b"50.97") + b"~").decode()
    return "\n".join(lines)


def on_proof(change):
    """A lie about the proof file alone."""
    return lambda path, body: change(body) if path.endswith("/proof") else body


def altered_certificate(whole):
    return through(whole, lambda proofs: [heavier(p) if b"certificate.issued" in payload_of(p) else p for p in proofs])


def without_one_event(whole):
    """Leaves out the entry in which the piece was numbered."""
    return through(whole, lambda proofs: [p for p in proofs if b"piece.numbered" not in payload_of(p)])


def without_session(whole):
    """Leaves out the close of the session in which the weight of record was read."""
    return through(whole, lambda proofs: [p for p in proofs if b"session.closed" not in payload_of(p)])


def unsigned_checkpoint(whole):
    """A checkpoint of the server's own making: another size under the signature that there was."""
    def change(proofs):
        return [proof.replace(f"\n\n{origin(proof)}\n", f"\n\n{origin(proof)}\n1", 1) for proof in proofs]
    return through(whole, change)


def origin(proof):
    return proof.split("\n\n", 1)[1].split("\n")[0]


class Lies:
    """All of them, over the true book, an older copy, a forked copy, another workshop's book, and a stolen log key."""

    def __init__(self, true, older, forked, other, serials, ask):
        self.true, self.older, self.forked, self.other = true, older, forked, other
        self.serials, self.ask = serials, ask
        size = int(ask(true, "/log/checkpoint").split(b"\n")[1])
        tile = ask(true, f"/log/tile/0/000.p/{size}")
        self.forger = Forger(true.folder, [tile[at:at + 32] for at in range(0, len(tile), 32)])

    def from_book(self, book, *kinds):
        """Data paths that are served from another book instead."""
        def alter(path, body):
            return self.ask(book, path) if any(kind in path for kind in kinds) else body
        return alter

    def whole(self, book):
        """Everything that is served, but for the modules, comes from another book."""
        return lambda path, body: body if path.startswith("/check/") else self.ask(book, path)

    def forged(self, path, body):
        """A heavier certificate on another tree, which the stolen log key signed: proof, checkpoint and tiles alike."""
        serial = self.serials["certified"]

        def alter(proofs):
            for proof in proofs:
                if b"certificate.issued" in payload_of(proof.text(self.forger.leaves, "")):
                    proof.entry = replaced(proof.entry, b"50.37", b"50.97")
            return proofs
        whole, checkpoint, leaves = self.forger.file(self.ask(self.true, f"/v1/serials/{serial}/proof"), alter)
        if path.endswith("/proof"):
            return whole
        if path == "/log/checkpoint":
            return checkpoint
        if path.startswith("/log/tile/0/"):
            return b"".join(leaves)
        return body

    def fork_after(self, path, body):
        """An honest proof, and a newest checkpoint that the stolen log key signed over a tree in which an entry differs."""
        leaves = [b"\7" * 32, *self.forger.leaves[1:], b"\1" * 32]
        if path == "/log/checkpoint":
            return self.forger.checkpoint(self.true.origin, leaves).encode()
        if path.startswith("/log/tile/0/"):
            return b"".join(leaves)
        return body

    def kept_back(self, path, body):
        """The proof of before, under the newest checkpoint, and a word that nothing came later."""
        if "?after=" in path:
            told = json.loads(body)
            told["entries"] = []
            return json.dumps(told).encode()
        if path.endswith("/proof"):
            return self.ask(self.older, path)
        return body

    def kept_back_and_closed(self, path, body):
        """The same, where the entries are for auditors only."""
        return None if "/tile/entries/" in path else self.kept_back(path, body)

    def all(self):
        """The table. Of those with `before`, the browser saw the true book first."""
        its_word = "that is its word"
        other = self.serials["delivered"]
        return [
            Lie("a heavier weight in an entry", on_proof(altered_certificate), "inclusion", "path"),
            Lie("a heavier weight, on a tree that a stolen log key signed", self.forged, "signatures", "signature"),
            Lie("an event of the piece left out", on_proof(without_one_event), "chain", "prev"),
            Lie("a check of the scale left out", on_proof(without_session), "ancestry", "what must be behind a piece"),
            Lie("a checkpoint that nobody signed", on_proof(unsigned_checkpoint), "checkpoint", "signature of the log"),
            Lie("a cut proof file", on_proof(lambda whole: whole[:-400]), "unreadable", "its form"),
            Lie("the proof of another piece", lambda path, body: self.ask(self.true, f"/v1/serials/{other}/proof")
                if path.endswith("/proof") else body, "fetched", "serial"),
            Lie("another workshop's keys, opened by the link on the certificate", self.whole(self.other), "keys",
                "root thumbprint in the link"),
            Lie("another workshop's keys, opened without that link", self.whole(self.other), None, "nothing here",
                link=False, said="same server states"),
            Lie("a checkpoint that does not continue the proof's", self.fork_after, "consistent", "consistency"),
            Lie("a forked log, to a browser that was here before", self.whole(self.forked), "remembered",
                "remembered checkpoint", before=self.true),
            Lie("a forked log, to a browser that comes first", self.whole(self.forked), None, "memory or a witness",
                said="nothing is remembered yet"),
            Lie("a log of before the theft, to a browser that was here after it", self.whole(self.older), "remembered",
                "remembered checkpoint", before=self.true),
            Lie("a log of before the theft, to a browser that comes first", self.whole(self.older), None,
                "memory or a witness", said="nothing is remembered yet"),
            Lie("a theft kept back, where entries are public", self.kept_back, "later", "reading every later entry"),
            Lie("a theft kept back, where they are not", self.kept_back_and_closed, None, "an auditor", said=its_word),
            Lie("a heavier weight in the words of the page", lambda path, body: body.replace(b"50.37", b"50.97")
                if path.startswith("/p/") else body, "page", "comparing the page with the record"),
        ]
