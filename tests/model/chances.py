"""Random commands: mostly what comes next for some piece, now and then something that cannot be.

All chance comes from the seed of the sequence and from what the model knows, so a seed tells the same sequence every time.
"""

from metal import CENT, STEPS_PER_GRAM
from ways import GRADED, NATURAL, OF_SALE, OF_SHOP, ONWARD, OTHERS, OUTCOMES, REASONS, SINGLE, TEMPTING, TRAYS, WOUND_UP

CHECK = 100 * STEPS_PER_GRAM


class Chances:
    """Chooses what is commanded next."""

    def __init__(self, dice, shop):
        self.dice = dice
        self.shop = shop

    def one(self, weights):
        """A key of a table of weights."""
        return self.dice.choices(list(weights), list(weights.values()))[0]

    def few(self, keys):
        """One of the keys, or all of them."""
        keys = list(keys)
        return keys if self.dice.random() < 0.55 else [self.dice.choice(keys)]

    def next(self, wild):
        """A command; `wild` is how often it is out of place."""
        while True:
            command = self.some(wild)
            if command is not None:
                return command

    def some(self, wild):
        """A command, or None if the thing that chance names is not there."""
        shop = self.shop
        if not shop.melts:
            return self.charge_melt([])
        if not shop.pieces:
            return self.pour([])
        if self.dice.random() < wild:
            if self.dice.random() < 0.5:
                key = self.rare()
                return self.build(self.dice.choice(TEMPTING[shop.pieces[key].state]), [key])
            do = self.dice.choice(sorted(SINGLE | OF_SALE | TRAYS) * 2 + OTHERS)
            some = self.dice.sample(range(len(shop.pieces)), min(len(shop.pieces), self.dice.choice([1, 1, 1, 2])))
            return self.build(do, some)
        if self.dice.random() < 0.22:
            do = self.one(OF_SHOP)
            return self.build(do, [])
        key = self.dice.randrange(len(shop.pieces))
        piece = shop.pieces[key]
        if self.dice.random() < 0.04:
            return self.build(self.one({"steal": 2, "destroy": 1}), [key])
        table = GRADED[piece.verdict] if piece.state == "graded" else NATURAL.get(piece.state)
        if table is None:
            return None
        like = [
            k for k, p in enumerate(shop.pieces)
            if (p.state, p.verdict if p.state == "graded" else 0, p.series, p.sale) == (
                piece.state, piece.verdict if piece.state == "graded" else 0, piece.series, piece.sale)
        ]
        do = self.sensible(piece, self.one(table))
        if do in ("number", "spare") and piece.state == "hallmarked" and piece.final is None:
            do = "weigh_final"
        if do == "close_melt":
            return self.close_melt([piece.melt])
        return self.build(do, self.few(like) if do not in SINGLE else [key])

    def advance(self):
        """The next thing on the way to a sale, for all pieces that stand where one of them does."""
        shop = self.shop
        if not any(s["open"] and s["balance"] == 0 for s in shop.sessions):
            return self.open_session([])
        if not shop.melts or not shop.pieces:
            return self.next(0)
        key = self.dice.choice([k for k, p in enumerate(shop.pieces) if p.state in ONWARD] or [0])
        piece = shop.pieces[key]
        like = [k for k, p in enumerate(shop.pieces) if (p.state, p.verdict, p.series, p.sale, p.final is None) == (
            piece.state, piece.verdict, piece.series, piece.sale, piece.final is None)]
        if piece.state == "graded" and piece.verdict != "accepted" or piece.state not in ONWARD:
            return self.next(0)
        do = self.sensible(piece, ONWARD[piece.state])
        series = shop.series[piece.series]
        if do == "close_melt":
            return self.close_melt([piece.melt])
        if piece.state == "hallmarked" and piece.final is not None:
            do = "number" if series.edition and series.numbered else "certify"
        if piece.state == "numbered" and series.on_metal and not piece.since_number:
            do = "weigh_final"
        if do == "number":
            like = like[:max(1, series.sizes[piece.shape] - series.given[piece.shape])]
            if series.given[piece.shape] == series.sizes[piece.shape]:
                do = "spare"
        if do == "certify" and shop.sessions[piece.final]["open"]:
            return {"do": "close_session", "session": piece.final, "reading": CHECK}
        if piece.state == "certified" and self.dice.random() < 0.5:
            return self.record_order([]) if self.dice.random() < 0.5 else self.single("reserve", key)
        return self.build(do, like if do not in SINGLE else [key])

    def rare(self):
        """A piece in any state that there is, rare ones as often as common ones."""
        pieces = self.shop.pieces
        state = self.dice.choice(sorted({piece.state for piece in pieces}))
        return self.dice.choice([key for key, piece in enumerate(pieces) if piece.state == state])

    def wind_up(self):
        """Towards the close of the edition: what is loose is dealt with, bit by bit, and now and then the close is tried."""
        shop = self.shop
        running = [key for key, order in enumerate(shop.orders) if order.state == "open"]
        dies = [key for key, die in enumerate(shop.dies) if die["series"] == 0 and die["state"] == "in_use"]
        loose = [key for key, p in enumerate(shop.pieces) if p.series == 0 and p.state in WOUND_UP]
        if self.dice.random() < 0.15 or not (running or dies or loose):
            return {"do": "close_series", "series": 0}
        if running and self.dice.random() < 0.3:
            return {"do": "cancel_order", "order": running[0]}
        if dies and self.dice.random() < 0.3:
            return {"do": "dispose_die", "die": dies[0], "how": "destroyed"}
        if not loose:
            return self.next(0)
        state = self.dice.choice(sorted({shop.pieces[key].state for key in loose}))
        here = [key for key in loose if shop.pieces[key].state == state]
        do = WOUND_UP[state]
        if do == "condemn":
            return {"do": do, "piece": here[0], "reason": "unwanted"}
        if do in ("refine", "charge_melt") and shop.melts[shop.pieces[here[0]].melt].open:
            return self.close_melt([shop.pieces[here[0]].melt])
        return self.build(do, here)

    def sensible(self, piece, do):
        """Turns what would surely be refused for the sake of a melt or of marking into what is needed first."""
        series = self.shop.series[piece.series]
        if do in ("serial", "strike") and self.shop.melts[piece.melt].open:
            return "close_melt"
        if piece.state == "serialled" and do == "consign" and self.dice.random() < 0.25:
            return "strike"
        if piece.state in ("serialled", "struck") and do in ("consign", "weigh_final"):
            if series.struck and piece.state == "serialled":
                return "strike"
            if series.marking:
                return "consign"
            if piece.final is not None:
                return "number" if series.edition and series.numbered else "certify"
            return "weigh_final"
        return do

    def build(self, do, some):
        """A command of that name about some pieces."""
        dice = self.dice
        if do in TRAYS:
            return {"do": do, "pieces": some}
        if do in OF_SALE:
            sale = self.shop.pieces[some[0]].sale
            if sale is None or dice.random() < 0.05:
                if not self.shop.sales:
                    return None
                sale = dice.randrange(len(self.shop.sales))
            return {"do": do, "sale": sale, "pieces": some}
        if do in SINGLE:
            return self.single(do, some[0])
        return getattr(self, do)(some)

    def single(self, do, piece):
        """A command about one piece."""
        row = self.shop.pieces[piece]
        command = {"do": do, "piece": piece}
        if do == "condemn":
            fitting = {"graded": row.verdict, "mis_struck": "mis_struck", "unmarked": "unmarked", "spare": "unwanted",
                       "returned": "damaged", "bought_back": "unwanted"}.get(row.state) or row.verdict
            fits = fitting in REASONS and self.dice.random() < 0.85
            command["reason"] = fitting if fits else self.dice.choice(REASONS)
        elif do == "move":
            command["to"] = 1 if self.dice.random() < 0.93 else 0
        elif do == "reserve":
            command["order"] = self.some_order()
        elif do == "buy_back":
            command |= {"session": self.session(0), "mass": max(0, row.mass - CENT * self.dice.randint(0, 4))}
            command["mass"] -= command["mass"] % CENT
        elif do == "destroy":
            command["witness"] = "the neighbour" if self.dice.random() < 0.85 else ""
        return command

    def some_order(self):
        """An open order, most often, if there is any."""
        orders = self.shop.orders
        if not orders or self.dice.random() < 0.3:
            return None
        running = [key for key, order in enumerate(orders) if order.state == "open"]
        return self.dice.choice(running) if running and self.dice.random() < 0.85 else self.dice.randrange(len(orders))

    def session(self, balance):
        """The open session of a balance, or any, if there is none."""
        sessions = self.shop.sessions
        here = [key for key, session in enumerate(sessions) if session["open"] and session["balance"] == balance]
        if here and self.dice.random() < 0.97:
            return here[0]
        return self.dice.choice([key for key, session in enumerate(sessions) if session["balance"] == balance])

    def mass(self):
        """A first weight: mostly well within the limits, sometimes outside, sometimes so near that nobody can tell."""
        kind = self.one({"accepted": 70, "under": 8, "over": 9, "near": 13})
        if kind == "accepted":
            return CENT * self.dice.randint(6_020, 6_100)
        if kind == "under":
            return CENT * self.dice.randint(5_800, 5_960)
        if kind == "over":
            return CENT * self.dice.randint(6_150, 6_400)
        return CENT * (self.dice.choice([6_000, 6_120]) + self.dice.randint(-4, 4))

    def rotate(self, _):
        """A session is closed, or a new one opened where none is."""
        balance = 0 if self.dice.random() < 0.85 else 1
        here = [k for k, s in enumerate(self.shop.sessions) if s["open"] and s["balance"] == balance]
        if here:
            reading = CHECK + (0 if self.dice.random() < 0.9 else 5 * CENT)
            return {"do": "close_session", "session": here[0], "reading": reading}
        return self.open_session([], balance)

    def open_session(self, _, balance=0):
        reading = CHECK + (0 if self.dice.random() < 0.95 else 5 * CENT)
        return {"do": "open_session", "balance": balance, "reading": reading}

    def close_session(self, _):
        return {"do": "close_session", "session": self.dice.randrange(len(self.shop.sessions)), "reading": CHECK}

    def charge_melt(self, some):
        """Enough for some pieces, or too much; with what is condemned, if it is named."""
        pieces = [key for key in some]
        pours = self.dice.randint(2, 5)
        lots, heels = [], []
        if not pieces or self.dice.random() < 0.4:
            lots.append([0, (pours * 61 + 5) * STEPS_PER_GRAM])
        if len(self.shop.lots) > 1 and self.dice.random() < 0.4:
            lots.append([self.dice.randint(1, len(self.shop.lots) - 1), 10 * STEPS_PER_GRAM])
        left = [key for key, melt in enumerate(self.shop.melts) if melt.heel and not melt.heel_taken]
        if left and self.dice.random() < 0.5:
            heels.append(self.dice.choice(left))
        return {"do": "charge_melt", "session": self.session(0), "lots": lots, "pieces": pieces, "heels": heels}

    def pour(self, _):
        """Some cavities of the newest melt, mostly for the edition."""
        melt = len(self.shop.melts) - 1 if self.dice.random() < 0.9 else self.dice.randrange(len(self.shop.melts))
        shapes = list(self.shop.series[0].sizes)
        poured = sum(piece.melt == melt for piece in self.shop.pieces)
        room = max(1, self.shop.melts[melt].charge // (62 * STEPS_PER_GRAM) - poured)
        pours = [
            [0, self.dice.choice(shapes)] if self.dice.random() < 0.85 else [1, "square"]
            for _ in range(min(room, self.dice.randint(1, 4)))
        ]
        return {"do": "pour", "melt": melt, "pours": pours}

    def close_melt(self, some):
        """The heel is what the book would expect, less a little; now and then it is more, and the loss below zero."""
        melts = self.shop.melts
        melt = some[0] if some and some[0] < len(melts) else len(melts) - 1
        left = melts[melt].charge - sum(p.from_mould for p in self.shop.pieces if p.melt == melt)
        heel = max(0, left - CENT * (self.dice.randint(0, 40) if self.dice.random() < 0.95 else -30))
        return {"do": "close_melt", "melt": melt, "session": self.session(0), "heel": heel - heel % CENT}

    def weigh_mould(self, some):
        """From the mould; what is borderline goes on the better balance."""
        if all(self.shop.pieces[key].state == "graded" for key in some) and self.dice.random() < 0.8:
            near = [[key, self.shop.pieces[key].mass + 100 * self.dice.randint(-9, 9)] for key in some]
            return {"do": "weigh_mould", "session": self.session(1), "items": near}
        return {"do": "weigh_mould", "session": self.session(0), "items": [[key, self.mass()] for key in some]}

    def weigh_final(self, some):
        """As before, or a little less; sometimes far too light."""
        items = []
        for key in some:
            mass = self.shop.pieces[key].mass // CENT * CENT or self.mass()
            lost = self.dice.randint(0, 4) if self.dice.random() < 0.93 else self.dice.randint(100, 200)
            items.append([key, max(0, mass - CENT * lost)])
        return {"do": "weigh_final", "session": self.session(0), "items": items}

    def finish(self, some):
        """Filed down; now and then the typed weight would be more than before."""
        items = []
        for key in some:
            mass = self.shop.pieces[key].mass // CENT * CENT or self.mass()
            target = CENT * self.dice.randint(6_020, 6_100)
            off = mass + STEPS_PER_GRAM if self.dice.random() < 0.05 else mass - 2 * CENT
            items.append([key, target if target < mass else max(0, off)])
        return {"do": "finish", "session": self.session(0), "jar": 0, "items": items}

    def strike(self, some):
        die = self.dice.randrange(len(self.shop.dies))
        bad = self.dice.choice(OUTCOMES)
        return {"do": "strike", "die": die, "items": [[k, "good" if self.dice.random() < 0.78 else bad] for k in some]}

    def dispose_die(self, _):
        die = self.dice.randrange(len(self.shop.dies))
        return {"do": "dispose_die", "die": die, "how": self.dice.choice(["returned", "destroyed", "retired"])}

    def consign(self, some):
        claim = self.shop.series[self.shop.pieces[some[0]].series].fineness
        if self.dice.random() < 0.05:
            claim = self.dice.choice([9990, 9250, 8000])
        return {"do": "consign", "pieces": some, "fineness": claim}

    def receive_back(self, some):
        """Line by line; now and then a line is forgotten, or one of another consignment put in."""
        sent = self.shop.consignments
        if not sent:
            return None
        running = [key for key, row in enumerate(sent) if row["open"]]
        key = self.dice.choice(running) if running and self.dice.random() < 0.95 else self.dice.randrange(len(sent))
        lines = []
        for piece in sent[key]["pieces"]:
            outcome = self.one({"marked": 75, "unmarked": 12, "kept": 4, "cut": 3, "missing": 4})
            reason, assay = None, None
            if outcome in ("kept", "cut"):
                assay = self.dice.choice([None, 9180, 9270])
            if outcome == "unmarked":
                reason = self.dice.choice(["below_standard", "below_standard", "damaged", "no_room", "withdrawn", "other"])
                if reason == "below_standard":
                    assay = self.dice.choice([None, 9180, 9180])
            lines.append([piece, outcome, reason, assay])
        if self.dice.random() < 0.06:
            lines = lines[1:] or [[some[0] if some else 0, "marked", None, None]]
        if self.dice.random() < 0.03 and some:
            lines.append([some[0], "marked", None, None])
        return {"do": "receive_back", "consignment": key, "lines": lines}

    def close_series(self, _):
        return {"do": "close_series", "series": 0 if self.dice.random() < 0.9 else 1}

    def record_order(self, _):
        shapes = list(self.shop.series[0].sizes)
        some = self.dice.sample(shapes, self.dice.randint(1, len(shapes)))
        series = 0 if self.dice.random() < 0.95 else 1
        return {"do": "record_order", "series": series, "counts": {shape: self.dice.choice([1, 1, 1, 2, 3]) for shape in some}}

    def cancel_order(self, _):
        orders = self.shop.orders
        return {"do": "cancel_order", "order": self.dice.randrange(len(orders))} if orders else None

    def sell(self, some):
        """Under the order that it is kept for, or under some other, or under none."""
        row = self.shop.pieces[some[0]]
        kept = row.state == "reserved" and self.dice.random() < 0.85
        return {"do": "sell", "pieces": some, "order": row.order if kept else self.some_order()}

    def refine(self, some):
        """Condemned pieces, and the jar, if anything is in it."""
        held = self.shop.jars[0]["mass"] // CENT * CENT
        jars = [[0, max(CENT, held - CENT * self.dice.randint(0, 3))]] if held and self.dice.random() < 0.6 else []
        return {"do": "refine", "session": self.session(0), "jars": jars, "pieces": some}

    def return_refining(self, _):
        rows = self.shop.refinings
        if not rows:
            return None
        key = self.dice.randrange(len(rows))
        back = max(CENT, rows[key]["mass"] // CENT * CENT - CENT * self.dice.randint(1, 30))
        outturn = [self.session(0), back] if self.dice.random() < 0.6 else None
        settled = back if outturn is None and self.dice.random() < 0.9 else None
        return {"do": "return_refining", "refining": key, "outturn": outturn, "settled": settled}

    def agree_mixing(self, _):
        return {"do": "agree_mixing", "owner": 0}
