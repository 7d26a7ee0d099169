"""Makes up commands for a book: a path that takes pieces far, and in between whatever may happen, about half of it wrong."""

import collections
import copy
from decimal import Decimal

from known import done_anyway
from proposals import PROPOSALS
from rule import Refused

# How often each command is wished for.
WEIGHTS = {
    "receive_lot": .6, "register_owner": .15, "agree_mixing": .3, "open_jar": .15, "register_scale": .05, "open_session": .8,
    "check_session": .5, "close_session": 1, "charge_melt": 3, "pour_pieces": 2, "close_melt": 3, "weigh_pieces": 5,
    "finish_pieces": 3, "fault_piece": .5, "move_piece": 2, "condemn_piece": 2, "open_series": .15, "close_series": 1.5,
    "register_die": .15, "dispose_die": .5, "strike_pieces": 3, "archive_piece": 1, "give_serials": 3, "number_pieces": 4,
    "issue_certificates": 4, "supersede_certificate": 1, "spare_pieces": 1.5, "send_consignment": 3, "return_consignment": 4,
    "record_order": .6, "cancel_order": .3, "reserve_piece": 2, "release_piece": 1, "sell_pieces": 4, "cancel_sale": 1,
    "hand_over_pieces": 1.5, "dispatch_pieces": 3, "deliver_pieces": 3, "lose_pieces": 1.5, "send_back_pieces": 1.5,
    "find_piece": 2, "return_piece": 2, "restock_piece": 2, "buy_back_piece": 2, "steal_piece": .5, "recover_piece": 1.2,
    "destroy_piece": .3, "gather_sweeps": .3, "send_to_refiner": 1.2, "return_refining": 1.5, "correct_entries": 3,
}

# The life of a piece that goes well; each step is taken for all pieces that it fits.
PATH = ["pour_pieces", "weigh_pieces", "close_melt", "strike_pieces", "give_serials", "send_consignment", "return_consignment",
        "weigh_pieces", "record_order", "number_pieces", "weigh_pieces", "close_session", "open_session", "issue_certificates",
        "issue_certificates"]
# What may come after it.
SALES = ["record_order", "record_order", "reserve_piece", "reserve_piece", "reserve_piece", "sell_pieces", "sell_pieces",
         "dispatch_pieces", "dispatch_pieces", "hand_over_pieces", "lose_pieces",
         "find_piece", "deliver_pieces", "deliver_pieces", "send_back_pieces", "return_piece", "buy_back_piece", "restock_piece",
         "cancel_sale", "release_piece", "supersede_certificate", "weigh_pieces", "steal_piece", "recover_piece"]
# What may come after the bench.
RESIDUES = ["finish_pieces", "fault_piece", "condemn_piece", "condemn_piece", "charge_melt", "close_melt", "gather_sweeps",
            "send_to_refiner", "return_refining", "send_to_refiner", "return_refining", "move_piece"]


class Generator:
    """Makes one sequence: its beginning, then step after step."""

    def __init__(self, rng, code, without=(), avoid=(), often=()):
        self.rng, self.code, self.without, self.avoid = rng, code, set(without), avoid
        self.path = PATH[:rng.choice([0, 3, 5, 7, 8, 10, 14, 15, 15, 15, 15, 15])]
        self.path[3:3] = rng.sample(RESIDUES, rng.choice([0, 0, 3, 6]))
        if len(self.path) >= 15:
            self.path += ["sell_pieces", "dispatch_pieces"] + rng.choices(SALES, k=rng.randint(2, 18))
        self.kinds = [k for k in WEIGHTS if k not in self.without]
        self.weights = [WEIGHTS[k] * (6 if k in often else 1) for k in self.kinds]
        self.series_opened = 0
        self.why = collections.Counter()  # with which words the model refused

    def beginning(self):
        """What every workshop has: two scales, a session at each, metal, jars, an edition, an open series, a die, a charge."""
        rng, gram = self.rng, Decimal
        scale = {"class": "I", "d": gram("0.01"), "e": gram("0.01"), "max": gram("6000"), "verified": True,
                 "repeatability": gram("0.003")}
        yield {"command": "register_scale", **scale}
        yield {"command": "register_scale", **scale, "d": gram("0.001"), "repeatability": gram("0.0003")}
        yield {"command": "open_session", "scale": "scale:1", "good": True}
        yield {"command": "open_session", "scale": "scale:2", "good": True}
        yield {"command": "receive_lot", "metal": "silver", "fineness": gram("999.9"), "basis": rng.choice(["declared", "assayed"]),
               "session": "session:3", "mass": gram(rng.choice([800, 1000, 1500]))}
        for residue in ("prills", "lemel", "sweeps"):
            yield {"command": "open_jar", "metal": "silver", "fineness": gram(rng.choice(["999", "925", "900"])), "residue": residue}
        yield self.series("edition")
        yield self.series("open")
        yield {"command": "register_die", "owner": rng.choice(["workshop", "commissioner"]),
               **({"series": "series:9"} if rng.random() < .5 else {})}
        yield {"command": "charge_melt", "metal": "silver", "session": "session:3",
               "lots": [{"lot": "lot:5", "mass": gram(rng.choice([400, 500, 600]))}]}
        if rng.random() < .3:
            yield {"command": "register_owner"}
            yield {"command": "receive_lot", "metal": "silver", "fineness": gram(rng.choice(["999", "925"])), "basis": "declared",
                   "session": "session:4", "mass": gram("310"), "owner": "owner:13"}
            if rng.random() < .5:
                yield {"command": "agree_mixing", "owner": "owner:13"}
            yield {"command": "charge_melt", "metal": "silver", "session": "session:3",
                   "lots": [{"lot": "lot:5", "mass": gram("100")}, {"lot": "lot:14", "mass": gram("100")}]}

    def series(self, kind):
        """A series of its own code; the marking of the sequence is mostly the same, so that odd-weight pieces can go on."""
        rng = self.rng
        self.series_opened += 1
        cmd = {"command": "open_series", "kind": kind, "code": self.code(), "metal": "silver",
               "fineness": Decimal(rng.choice(["999", "999", "925"])), "marking": rng.choice(["required", "exempt"])}
        if self.series_opened == 2 and rng.random() < .85:
            cmd["marking"] = self.marking
        self.marking = cmd["marking"]
        if cmd["marking"] == "exempt":
            cmd["ground"] = rng.choice(["bullion", "export", "other"] + ["below_weight"] * (kind == "edition"))
        if kind == "edition":
            cmd["sizes"] = {s: rng.randint(1, 4) for s in rng.choice([["oval"], ["oval", "bar"]])}
            cmd["limits"] = (Decimal(50), Decimal(51))
            option = rng.choice(["unnumbered", "number_on_metal", None, None])
            if option:
                cmd[option] = True
            if rng.random() < .5:
                cmd["spares_sold"] = True
        if rng.random() < .4:
            cmd["struck"] = True
        return cmd

    def next(self, n, book):
        """The next command: the next step of the path, or something else; right or wrong."""
        while self.path and self.rng.random() < .8:
            if self.rng.random() < .3:  # first somehow wrong, where it matters
                cmd = self.wished(n, book, False, self.path[:1])
                if cmd:
                    return cmd
            kind = self.path.pop(0)
            cmd = self.wished(n, book, True, [kind], whole=True)
            if cmd:
                return cmd
        right = self.rng.random() < .55
        return self.wished(n, book, right, None) or self.wished(n, book, not right, None)

    def wished(self, n, book, right, kinds, whole=False):
        """A command that the model takes (or refuses), if one is found before long."""
        for _ in range(15 if kinds else 40):
            kind = kinds[0] if kinds else self.rng.choices(self.kinds, self.weights)[0]
            cmd = PROPOSALS[kind](self, book, right, whole)
            if cmd is None or cmd == []:
                continue
            cmd = {"command": kind, **cmd}
            try:
                book.check(n, cmd)
                taken = True
            except Refused as why:
                taken = False
                self.why[str(why)] += 1
                if self.why[str(why)] > 2 and self.rng.random() < .7:
                    continue  # that was tried before; something else
                if done_anyway(str(why), self.avoid):
                    continue
            if taken == right or (not right and self.rng.random() < .3):  # drawn blindly, and right all the same
                return copy.deepcopy(cmd)
        return None
