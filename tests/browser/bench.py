"""The trade's commands in short, over the wire of a served book: each answers what later commands need, or stops the test."""


class Bench:
    """One workshop at work."""

    def __init__(self, wire):
        self.wire = wire

    def give(self, path, body, subject=None):
        """A command that must be recorded; its events."""
        status, answer = self.wire.post(path, body, subject)
        assert status == 201, f"{path} {body}: {status} {answer}"
        return answer

    def make(self, path, body, kind):
        """A command that makes things of a kind; their ids."""
        answer = self.give(path, body)
        return [moved["id"] for moved in answer["subjects"] if moved.get("kind") == kind]

    def tray(self, items, member):
        """Items of a tray with the version of their piece."""
        return [{"piece": piece, member: value, "version": self.wire.versions[piece]} for piece, value in items]

    def session(self, scale):
        """A session that its check opens."""
        return self.make("/v1/sessions", {"scale": scale, "nominal": "50.00", "reading": "50.00"}, "session")[0]

    def close(self, session, reading="50.00"):
        """Its closing check."""
        self.give(f"/v1/sessions/{session}/closing", {"nominal": "50.00", "reading": reading}, session)

    def melt(self, session, lot, mass, series, weights, heel):
        """Charge, pours, weighings from the mould, heel: the pieces, in their order."""
        charge = {"metal": "silver", "session": session, "lots": [{"lot": lot, "mass": mass}]}
        melt = self.make("/v1/melts", charge, "melt")[0]
        pours = [{"series": series, "shape": "oval"} for _ in weights]
        poured = self.give(f"/v1/melts/{melt}/pours", {"pours": pours}, melt)
        pieces = [moved["id"] for moved in poured["subjects"] if moved.get("kind") == "piece"]
        self.weigh(session, "from_mould", zip(pieces, weights))
        self.give(f"/v1/melts/{melt}/closing", {"session": session, "heel": heel}, melt)
        return pieces

    def weigh(self, session, stage, items):
        """Readings of a tray."""
        return self.give("/v1/weighings", {"session": session, "stage": stage, "items": self.tray(items, "mass")})

    def piece(self, piece, path, body=None):
        """A command about one piece."""
        self.give(f"/v1/pieces/{piece}/{path}", body or {}, piece)

    def sale(self, sale, path, pieces):
        """A command about pieces of a sale."""
        self.give(f"/v1/sales/{sale}/{path}", {"pieces": pieces}, sale)

    def serial(self, piece):
        """The serial of a piece, as its row has it."""
        status, row = self.wire.send("GET", f"/v1/pieces/{piece}")
        assert status == 200, row
        return row.get("serial")
