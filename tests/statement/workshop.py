"""A workshop's metal, followed from event to event: which account each gram leaves, and which it enters."""

from accounts import OUTSIDE, Accounts
from pieces import Piece
from quantities import fineness, mass


class Workshop:
    def __init__(self):
        self.accounts = Accounts()
        self.lots, self.melts, self.jars, self.pieces, self.refinings = {}, {}, {}, {}, {}

    def take(self, events):
        """The events of one entry. What fills a jar stands beside the event that says why."""
        for event in events:
            about = "piece." if event["kind"].startswith("piece.") else event["kind"]
            deed = {
                "lot.received": self.receive,
                "lot.outturned": self.outturn,
                "lot.counted": self.count_lot,
                "lot.found": self.find_lot,
                "melt.counted": self.count_heel,
                "jar.counted": self.count_jar,
                "jar.opened": self.open_jar,
                "jar.filled": self.fill,
                "melt.charged": self.charge,
                "melt.closed": self.weigh_out,
                "refining.sent": self.send,
                "refining.returned": self.settle,
                "piece.": self.piece,
            }.get(about)
            if deed:
                deed(event, events)

    # Lots.

    def receive(self, event, _entry):
        self.new_lot(event, OUTSIDE)

    def outturn(self, event, _entry):
        self.new_lot(event, "refining_loss")

    def new_lot(self, event, source):
        lot = {"metal": event["metal"], "fineness": fineness(event["fineness"])}
        self.lots[event["lot"]] = lot
        self.accounts.move(lot["metal"], source, "unmelted", mass(event["mass"]), lot["fineness"])

    # Stock-takes: what was weighed holds from then on, the difference is a variance.

    def count_lot(self, event, _entry):
        self.counted(self.lots[event["lot"]], "unmelted", event)

    def count_heel(self, event, _entry):
        self.counted(self.melts[event["melt"]], "heels", event)

    def count_jar(self, event, _entry):
        """Residue is reckoned as its jar is from when it goes in; so is what is missing of it."""
        jar = self.jars[event["jar"]]
        self.counted(jar, jar["residue"], event)

    def counted(self, place, heading, event):
        less = mass(event["expected"]) - mass(event["mass"])
        self.accounts.move(place["metal"], heading, "stocktake_variance", less, place["fineness"])

    def find_lot(self, event, _entry):
        self.new_lot(event, "stocktake_variance")

    # Melts.

    def charge(self, event, _entry):
        melt = {
            "metal": event["metal"],
            "fineness": fineness(event["fineness"]),
            "open": True,
        }
        self.melts[event["melt"]] = melt
        for given in event["inputs"]:
            self.give(melt, given)

    def give(self, melt, given):
        metal, into = melt["metal"], ("crucible", melt["fineness"])
        if given["from"] == "lot":
            lot, grams = self.lots[given["lot"]], mass(given["mass"])
            if lot["metal"] == metal:
                self.accounts.revalued_move(metal, ("unmelted", lot["fineness"]), into, grams)
            else:
                self.accounts.move(lot["metal"], "unmelted", "alloyed_out", grams, lot["fineness"])
                self.accounts.revalued_move(metal, ("alloyed_in", 0), into, grams)
        elif given["from"] == "heel":
            left_at = self.melts[given["melt"]]["fineness"]
            self.accounts.revalued_move(metal, ("heels", left_at), into, mass(given["mass"]))
        elif given["from"] == "jar":
            left_at = self.empty(given["jar"], mass(given["mass"]), given["holds"])
            self.accounts.revalued_move(metal, ("emptied", left_at), into, mass(given["mass"]))
        elif given["from"] == "piece":
            piece = self.pieces[given["piece"]]
            left_at = self.melts[piece.melt]["fineness"]
            self.accounts.revalued_move(metal, (piece.state, left_at), into, piece.mass)
            piece.state = "remelted"

    def weigh_out(self, event, _entry):
        melt = self.melts[event["melt"]]
        melt["open"] = False
        left = mass(event["charge"]) - sum(mass(piece["mass"]) for piece in event["pieces"])
        prills = mass(event["prills"]["mass"]) if "prills" in event else 0
        self.out_of_crucible(melt, "heels", mass(event["heel"]))
        self.out_of_crucible(melt, "gathered", prills)
        self.out_of_crucible(melt, "melt_loss", left - mass(event["heel"]) - prills)

    def out_of_crucible(self, melt, heading, grams):
        self.accounts.move(melt["metal"], "crucible", heading, grams, melt["fineness"])

    # Jars.

    def open_jar(self, event, _entry):
        self.jars[event["jar"]] = {
            "metal": event["metal"],
            "fineness": fineness(event["fineness"]),
            "residue": event["residue"],
        }

    def fill(self, event, _entry):
        """Residue comes out of the crucible (`gathered`) or off a piece (`filed`), and is reckoned at its jar's fineness."""
        jar, melt = self.jars[event["jar"]], self.melts[event["melt"]]
        source = {"prills": "gathered", "lemel": "filed"}[jar["residue"]]
        into = (jar["residue"], jar["fineness"])
        self.accounts.revalued_move(jar["metal"], (source, melt["fineness"]), into, mass(event["mass"]))

    def empty(self, jar, weighed, holds):
        """All that the book has in a jar leaves it: what was weighed to wherever it goes, the rest is lost."""
        jar = self.jars[jar]
        booked = sum(mass(share["mass"]) for share in holds)
        self.accounts.move(jar["metal"], jar["residue"], "emptied", weighed, jar["fineness"])
        self.accounts.move(jar["metal"], jar["residue"], "finishing_loss", booked - weighed, jar["fineness"])
        return jar["fineness"]

    # Pieces.

    def piece(self, event, entry):
        kind = event["kind"]
        if kind == "piece.poured":
            self.pieces[event["piece"]] = Piece(event["melt"])
            return
        piece = self.pieces[event["piece"]]
        if kind in ("piece.weighed", "piece.bought_back"):
            self.weigh(piece, event, entry)
        before = piece.state
        piece.hears(event)
        if before != piece.state and before != "remelted" and kind != "piece.refined":
            self.of_piece(piece, before, piece.state, piece.mass)

    def weigh(self, piece, event, entry):
        """A new reading: the difference comes out of the crucible, was filed off, taken at the office, or is a variance."""
        now = mass(event["mass"])
        less, piece.mass = piece.mass - now, now
        if self.melts[piece.melt]["open"]:
            self.of_piece(piece, piece.state, "crucible", less)
            return
        filed = [
            mass(finished["filed"])
            for finished in entry
            if finished["kind"] == "piece.finished" and finished["piece"] == event["piece"]
        ]
        if event["kind"] == "piece.weighed" and piece.back_from_office:
            piece.back_from_office = False
            self.of_piece(piece, piece.state, "assay_loss", less)
        elif filed:
            self.of_piece(piece, piece.state, "filed", filed[0])
            self.of_piece(piece, piece.state, "weighing_variance", less - filed[0])
        else:
            self.of_piece(piece, piece.state, "weighing_variance", less)

    def of_piece(self, piece, source, target, grams):
        melt = self.melts[piece.melt]
        self.accounts.move(melt["metal"], source, target, grams, melt["fineness"])

    # The refiner.

    def send(self, event, _entry):
        metal = event["metal"]
        for sent in event["jars"]:
            if self.jars[sent["jar"]]["residue"] == "sweeps":
                continue
            left_at = self.empty(sent["jar"], mass(sent["mass"]), sent["holds"])
            self.accounts.move(metal, "emptied", "at_refiner", mass(sent["mass"]), left_at)
        for sent in event["pieces"]:
            piece = self.pieces[sent["piece"]]
            self.of_piece(piece, piece.state, "at_refiner", piece.mass)
            piece.state = "refined"
        self.refinings[event["refining"]] = event

    def settle(self, event, _entry):
        """What was sent is accounted for: what did not come back as a lot and was not paid for is lost."""
        sent = self.refinings[event["refining"]]
        metal = sent["metal"]
        for jar in sent["jars"]:
            if self.jars[jar["jar"]]["residue"] != "sweeps":
                at = self.jars[jar["jar"]]["fineness"]
                self.accounts.move(metal, "at_refiner", "refining_loss", mass(jar["mass"]), at)
        for one in sent["pieces"]:
            at = self.melts[self.pieces[one["piece"]].melt]["fineness"]
            self.accounts.move(metal, "at_refiner", "refining_loss", mass(one["mass"]), at)
        if "settled" in event:
            paid = event["settled"]
            at = fineness(paid["fineness"])
            self.accounts.move(metal, "refining_loss", "settled", mass(paid["mass"]), at)
