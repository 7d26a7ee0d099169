"""The model: a book is what its accepted commands made of it, and a correction makes it anew from corrected ones."""

import copy

import rules_bench  # noqa: F401
import rules_metal
import rules_number
import rules_sale  # noqa: F401
from rule import RULES, Refused

KINDS = ("scales", "sessions", "owners", "lots", "jars", "series", "melts", "pieces", "dies", "consignments", "orders",
         "sales", "refinings")
NEVER_CORRECTED = ("give_serials", "number_pieces", "issue_certificates", "supersede_certificate", "correct_entries")


class Book:
    """Everything that is known, and the accepted commands that it was made from."""

    def __init__(self):
        self.commands = []  # (number, command)
        self._empty()

    def _empty(self):
        for kind in KINDS:
            setattr(self, kind, {})
        self.serials_given, self.numbers_given = [], []

    def check(self, n, cmd):
        """Raises Refused if the command may not be; changes nothing."""
        if cmd["command"] == "correct_entries":
            self._corrected(n, cmd)
        else:
            next(RULES[cmd["command"]](self, n, cmd))

    def do(self, n, cmd):
        """Carries a command out, or raises Refused and leaves everything as it was."""
        if cmd["command"] == "correct_entries":
            anew = self._corrected(n, cmd)
            anew.commands.append((n, cmd))
            self.__dict__ = anew.__dict__
            return
        self._carry_out(n, cmd)
        self.commands.append((n, cmd))

    def _carry_out(self, n, cmd):
        rule = RULES[cmd["command"]](self, n, cmd)
        next(rule)
        for _ in rule:
            pass

    def _corrected(self, n, cmd):
        """What the book would be, had the commands been as the correction says. The original stays in the log."""
        instead = {c["entry"]: c.get("instead") for c in cmd["corrections"]}
        if len(instead) != len(cmd["corrections"]):
            raise Refused("an entry is corrected twice")
        known = {m: c for m, c in self.commands}
        for m, new in instead.items():
            if m not in known or known[m]["command"] in NEVER_CORRECTED:
                raise Refused("not to be corrected")
        before = {name: self._statement(piece) for name, piece in self.pieces.items() if piece.issue}
        anew, changed, gone = Book(), False, {"command": "withdrawn"}
        for m, old in self.commands:
            now = (instead[m] or gone) if m in instead else old
            changed = changed or now != old
            if now["command"] in ("correct_entries", "withdrawn"):
                anew.commands.append((m, now))
                for name in now.get("superseded", []):
                    anew._restate(name)
                continue
            try:
                anew._carry_out(m, now)
            except Refused as why:
                raise Refused(f"entry {m} could then not be: {why}") from why
            anew.commands.append((m, now))
        if not changed:
            raise Refused("nothing would change")
        for name, piece in self.pieces.items():
            after = anew.pieces.get(name)
            if after and (after.serial, after.number) != (piece.serial, piece.number):
                raise Refused("a serial and a number are given once")
        cmd["superseded"] = [name for name, said in before.items() if anew._statement(anew.pieces[name]) != said and
                             not rules_number.given_up(anew.pieces[name])]  # page is silent: on what was certified and is no more
        for name in cmd["superseded"]:
            anew._restate(name)
        return anew

    def _restate(self, name):
        """A certificate that would state something else is superseded at once, by the newest reading."""  # page is silent
        piece = self.pieces[name]
        if not rules_metal.bracketed(self, piece):
            raise Refused("no good check after the weighing of record")
        piece.issue, piece.stated = piece.issue + 1, len(piece.readings)

    def _statement(self, piece):
        """What the newest certificate of a piece states, as far as the model knows it."""
        _, mass, session = piece.readings[piece.stated - 1]
        series = self.series[piece.series]
        return mass, session, series.fineness, self.melts[piece.melt].basis, piece.hallmark, piece.number

    def copy(self):
        return copy.deepcopy(self)

    def does_not_add_up(self):
        """Received = everything that became of it, in grams, all metals together; the difference is zero, always."""
        received = sum(lot.mass for lot in self.lots.values() if not lot.outturn_of)
        outturn = sum(lot.mass for lot in self.lots.values() if lot.outturn_of)
        unmelted = sum(lot.left for lot in self.lots.values())
        heels = sum(m.heel for m in self.melts.values() if m.closed and not m.heel_taken)
        jars = sum(j.mass for j in self.jars.values())
        ended = ("remelted", "at the refiner")
        pieces = sum(p.mass for p in self.pieces.values() if p.mass is not None and p.state not in ended)
        crucible = sum(m.charge - sum(self.pieces[p].readings[-1][1] for p in m.pieces if self.pieces[p].mass is not None)
                       for m in self.melts.values() if not m.closed)
        lost = sum(m.loss for m in self.melts.values() if m.closed)
        at_refiner = sum(r.mass for r in self.refinings.values() if r.loss is None)
        refined = sum((r.settled or 0) + r.loss for r in self.refinings.values() if r.loss is not None)
        variances = -sum(m.variance for m in self.melts.values()) - sum(r.variance for r in self.refinings.values())
        variances += sum(p.counted - p.filed - p.mass for p in self.pieces.values() if p.counted is not None)
        rest = received - unmelted - heels - jars - pieces - crucible - lost - at_refiner - refined - variances
        if rest:
            yield f"{rest} g are not accounted for"
        if sum(r.mass for r in self.refinings.values()) != at_refiner + refined + outturn:
            yield "an outturn is a transfer"
