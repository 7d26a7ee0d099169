"""One sequence: commands chosen by a seed, given to model and book alike, and what they say held side by side."""

import json
from collections import Counter
from random import Random

from chances import Chances
from ledger import difference
from metal import steps
from rules import RULES
from settings import furnish
from workshop import Workshop

ONWARD_MOST, STEPS = 28, 12
FORBIDS = {409, 422}


class Disagreement(Exception):
    """Model and book differ; what is said of it."""


class Sequence:
    """A workshop of the model and its twin in the book."""

    def __init__(self, seed, name, wire):
        self.seed = seed
        self.name = name
        self.wire = wire
        self.shop = Workshop()
        self.told = []
        self.whim = Random(seed + 1_000_000_000)
        self.counts = Counter()
        self.reached = Counter()
        wire.begin(seed)
        wire.shop = self.shop

    def run(self):
        """The whole sequence; raises at the first disagreement."""
        dice = Random(self.seed)
        for command in furnish(self.shop, dice, self.wire, self.name):
            self.give(command, count=False)
        chances = Chances(dice, self.shop)
        for _ in range(dice.randint(3, ONWARD_MOST)):
            self.give(chances.advance() or chances.next(0), count=False)
        if dice.random() < 0.15:
            for _ in range(dice.randint(6, ONWARD_MOST)):
                self.give(chances.wind_up() or chances.next(0), count=False)
        for _ in range(STEPS):
            self.give(chances.next(0.2))
        self.compare()
        return self

    def give(self, command, count=True):
        """Gives a command to both."""
        path, body, subject = self.wire.command(command)
        if subject and self.wire.versions[subject] > 1 and self.whim.random() < 0.03:
            self.same("status of a command with an old version", 412, self.wire.stale(path, body, subject))
        status, answer = self.wire.post(path, body, subject)
        if self.whim.random() < 0.03:
            self.same("answer to the same key again", (status, answer), self.wire.again(path, body))
        refusal = self.shop.take(command, RULES)
        said = f"book {status} {(answer or {}).get('type', '')} {(answer or {}).get('detail', '')}".strip()
        self.told.append(f"{json.dumps(command)}\n      model: {refusal or 'accepted'}\n      {said}")
        if count:
            self.counts[(command["do"], refusal is None)] += 1
        if status not in FORBIDS | {201} or (status == 201) != (refusal is None):
            raise Disagreement(f"{command['do']}: model {'accepts' if refusal is None else 'refuses'}, {said}")

    def compare(self):
        """Holds every row of the sequence against the model."""
        names = ("pieces", "lots", "melts", "series", "jars", "refinings")
        rows = {name: [self.wire.row(name, key) for key in range(len(getattr(self.shop, name)))] for name in names}
        for key, piece in enumerate(self.shop.pieces):
            self.piece(key, piece, rows["pieces"][key])
            self.reached[piece.state] += 1
        for key, lot in enumerate(self.shop.lots):
            self.same(f"lot {key} left", lot["left"], steps(rows["lots"][key]["left"]))
        for key, melt in enumerate(self.shop.melts):
            self.melt(key, melt, rows["melts"][key])
        for key, series in enumerate(self.shop.series):
            row = rows["series"][key]
            self.same(f"series {key} state", "closed" if series.closed else "open", row["state"])
            if series.edition:
                given = [series.given[shape["shape"]] for shape in row["shapes"]]
                self.same(f"series {key} numbers", given, row["numbers"])
                owed = [sum(o.counts.get(s["shape"], 0) - o.sold.get(s["shape"], 0) for o in self.shop.orders
                            if o.state == "open" and o.series == key) for s in row["shapes"]]
                self.same(f"series {key} promised", owed, row["promised"])
        self.same("jar", self.shop.jars[0]["mass"], steps(rows["jars"][0]["mass"]))
        for key, refining in enumerate(self.shop.refinings):
            row = rows["refinings"][key]
            self.same(f"refining {key} mass", refining["mass"], steps(row["mass"]))
            self.same(f"refining {key} loss", refining["loss"], None if row["loss"] is None else steps(row["loss"]))
        self.same("grams that came in less grams there or lost", 0, difference(rows))
        self.rest()

    def piece(self, key, piece, row):
        """State, grade, numbers, mass and what stands beside them."""
        ids = self.wire.ids
        self.same(f"piece {key} state", piece.state, row["state"])
        self.same(f"piece {key} series", ids["series"][piece.series], row["series"])
        self.same(f"piece {key} serial", piece.serial, row["serial"] is not None)
        self.same(f"piece {key} number", piece.number, row["number"])
        self.same(f"piece {key} certified", piece.certified, row["certificate"] is not None)
        self.same(f"piece {key} mass", piece.mass, steps(row["readings"][-1]["mass"]) if row["readings"] else 0)
        self.same(f"piece {key} filed", piece.filed, steps(row["filed"]))
        self.same(f"piece {key} assay loss", piece.assay_loss, steps(row["assay_loss"]))
        self.same(f"piece {key} grade", piece.verdict, row["grading"] and row["grading"]["grade"])
        if piece.state == "stolen":
            self.same(f"piece {key} before", piece.before, row["before"])
        if piece.state != "destroyed":
            self.same(f"piece {key} sale", None if piece.sale is None else ids["sales"][piece.sale], row["sale"])

    def melt(self, key, melt, row):
        """Open or closed, and where its metal went."""
        self.same(f"melt {key} charge", melt.charge, steps(row["charge"]))
        self.same(f"melt {key} state", "open" if melt.open else "closed", row["state"])
        self.same(f"melt {key} heel taken", melt.heel_taken, row["heel_taken"] is not None)
        if not melt.open:
            self.same(f"melt {key} heel", melt.heel, steps(row["heel"]))
            self.same(f"melt {key} loss", melt.loss, steps(row["loss"]))

    def rest(self):
        """Orders, sales, consignments, dies."""
        shop, wire = self.shop, self.wire
        for key, order in enumerate(shop.orders):
            row = wire.row("orders", key)
            self.same(f"order {key} state", order.state, row["state"])
            for member in ("reserved", "sold"):
                counts = [getattr(order, member).get(shape["shape"], 0) for shape in row["shapes"]]
                self.same(f"order {key} {member}", counts, row[member])
        for key, sale in enumerate(shop.sales):
            row = wire.row("sales", key)
            self.same(f"sale {key} undone", sorted(wire.ids["pieces"][k] for k in sale["undone"]), sorted(row["undone"]))
        for key, consignment in enumerate(shop.consignments):
            state = "at_office" if consignment["open"] else "returned"
            self.same(f"consignment {key} state", state, wire.row("consignments", key)["state"])
        for key, die in enumerate(shop.dies):
            row = wire.row("dies", key)
            self.same(f"die {key}", (die["state"], die["strikes"]), (row["state"], row["strikes"]))

    def same(self, what, model, book):
        """Raises unless both say the same."""
        if model != book:
            raise Disagreement(f"{what}: model {str(model)[:300]}, book {str(book)[:300]}")
