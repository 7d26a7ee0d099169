"""One proposal per command: members drawn from what the book holds, fitting if it is to be right, else anything at all."""

import copy
from decimal import Decimal

GOOD = ["50.30", "50.45", "50.50", "50.62", "50.70"]
OTHER = ["49.20", "48.75", "49.80", "51.30", "52.10", "51.85", "50.00", "51.00"]


def any_of(g, things, fits=None, right=True):
    """A name; among those that fit if it is to be right."""
    names = [n for n, t in things.items() if not right or fits is None or fits(t)]
    return g.rng.choice(names) if names else None


def some_of(g, things, fits, right, whole=False, most=4):
    """Names, each once."""
    names = [n for n, t in things.items() if not right or fits(t)]
    if not names:
        return None
    if whole and g.rng.random() < .9:
        return names[:8]
    return g.rng.sample(names, min(len(names), g.rng.randint(1, most)))


def session_of(g, book, right):
    return any_of(g, book.sessions, lambda s: s.state == "open", right or g.rng.random() < .8)


def mass_for(g, piece, stage):
    """From the mould mostly within limits; later about what was weighed before; on a limit or well away from it."""
    if piece is not None and piece.mass is not None and g.rng.random() < .85:
        mass = piece.mass + Decimal(g.rng.choice(["-0.02", "-0.01", "0.00", "0.00", "0.01"]))
        if min(abs(mass - 50), abs(mass - 51)) > Decimal("0.05"):
            return mass
    return Decimal(g.rng.choice(GOOD if g.rng.random() < .7 else OTHER))


def register_scale(g, book, right, whole):
    return {"class": "I", "d": Decimal("0.01"), "e": Decimal("0.01"), "max": Decimal("6000"), "verified": True,
            "repeatability": Decimal("0.003")}


def open_session(g, book, right, whole):
    return {"scale": any_of(g, book.scales, lambda s: s.session is None, right), "good": right or g.rng.random() < .5}


def check_session(g, book, right, whole):
    return {"session": any_of(g, book.sessions, lambda s: s.state == "open", right), "good": g.rng.random() < .85}


def close_session(g, book, right, whole):
    used = {p.readings[-1][2] for p in book.pieces.values() if p.final and not p.issue and p.state != "condemned"}
    session = any_of(g, book.sessions, lambda s: s.state == "open" and (not whole or s.name in used), right)
    return {"session": session or any_of(g, book.sessions), "good": whole or g.rng.random() < .9}


def register_owner(g, book, right, whole):
    return {}


def agree_mixing(g, book, right, whole):
    owner = any_of(g, book.owners, lambda o: not o.agreed, right)
    return owner and {"owner": owner}


def receive_lot(g, book, right, whole):
    metal, fineness = g.rng.choice([("silver", "999.9"), ("silver", "999"), ("silver", "925"), ("copper", "1000"), ("gold", "750")])
    return {"metal": metal, "fineness": Decimal(fineness), "basis": g.rng.choice(["declared", "assayed", "hallmarked"]),
            "session": session_of(g, book, right), "mass": Decimal(g.rng.choice(["100", "250.50", "31.10", "500"])),
            "owner": any_of(g, book.owners) if g.rng.random() < .3 else None}


def open_jar(g, book, right, whole):
    return {"metal": g.rng.choice(["silver", "silver", "gold"]), "fineness": Decimal(g.rng.choice(["999", "925", "958", "500"])),
            "residue": g.rng.choice(["prills", "lemel", "sweeps"])}


def open_series(g, book, right, whole):
    cmd = g.series(g.rng.choice(["edition", "open"]))
    if g.rng.random() < .2:
        cmd.update(metal="gold", fineness=Decimal("750"))
    if not right:
        g.rng.choice([lambda: cmd.pop("limits", 0), lambda: cmd.pop("sizes", 0), lambda: cmd.pop("ground", 0),
                      lambda: cmd.update(unnumbered=True, number_on_metal=True),
                      lambda: book.series and cmd.update(code=g.rng.choice(list(book.series.values())).code)])()
    cmd.pop("command")
    return cmd


def charge_melt(g, book, right, whole):
    metal = "gold" if g.rng.random() < .06 else "silver"
    cmd = {"metal": metal, "session": session_of(g, book, right)}
    if g.rng.random() < .6:
        lot = any_of(g, book.lots, lambda lot: lot.left > 0 and (lot.metal == metal or g.rng.random() < .2), right)
        if lot:
            left = book.lots[lot].left
            amounts = [left, (left / 2).quantize(Decimal("0.01")), min(left, Decimal(200))]
            if not right:
                amounts = [left + Decimal("0.01"), Decimal(3000), left, Decimal("0.00"), Decimal("20.00")]
            cmd["lots"] = [{"lot": lot, "mass": g.rng.choice(amounts)}]
            other = any_of(g, book.lots, lambda o: o.left > 20 and o.name != lot and o.metal in (metal, "copper"), right)
            if not right and book.owners and g.rng.random() < .5:
                other = any_of(g, book.lots, lambda o: o.owner and o.left > 20 and o.name != lot) or other
            if other and other != lot and g.rng.random() < (.3 if right else .6):
                cmd["lots"].append({"lot": other, "mass": Decimal(g.rng.choice(["5.00", "20.00"]))})
    if g.rng.random() < .4:
        heels = some_of(g, book.melts, lambda m: m.closed and m.heel > 0 and not m.heel_taken, right, most=2)
        cmd["heels"] = heels
    if g.rng.random() < .25:
        jars = some_of(g, book.jars, lambda j: j.holds and j.residue == "prills", right, most=1)
        cmd["jars"] = jars and [{"jar": j, "mass": max(book.jars[j].mass + Decimal(g.rng.choice(["-0.02", "0", "0.01"])),
                                                      Decimal("0.05"))} for j in jars]
    if g.rng.random() < .45:
        cmd["pieces"] = some_of(g, book.pieces, lambda p: p.state == "condemned", right)
    return {k: v for k, v in cmd.items() if v or k == "session"}


def pour_pieces(g, book, right, whole):
    melt = any_of(g, book.melts, lambda m: not m.closed, right)
    if not melt:
        return None
    free = book.melts[melt].charge - 52 * len(book.melts[melt].pieces)
    count = min(g.rng.choice([5, 6, 7]) if whole else g.rng.randint(1, 3), int(free // 52)) if right else g.rng.randint(1, 3)
    if count < 1:
        return None
    fits = lambda s: not s.closed and s.metal == book.melts[melt].metal  # noqa: E731
    pours = []
    for _ in range(count):
        series = "series:9" if whole and "series:9" in book.series and g.rng.random() < .9 else any_of(g, book.series, fits, right)
        if not series:
            return None
        shapes = list(book.series[series].sizes) or ["oval"]
        pours.append({"series": series, "shape": g.rng.choice(shapes if right or g.rng.random() < .7 else ["star"])})
    return {"melt": melt, "pours": pours}


def close_melt(g, book, right, whole):
    melt = any_of(g, book.melts, lambda m: not m.closed and all(book.pieces[p].readings for p in m.pieces), right)
    if not melt:
        return None
    out = sum(book.pieces[p].mass or Decimal(50) for p in book.melts[melt].pieces)
    cmd = {"melt": melt, "session": session_of(g, book, right)}
    jar = any_of(g, book.jars, lambda j: j.residue == "prills", right)
    if jar and g.rng.random() < .6:
        cmd["prills"] = {"jar": jar, "mass": Decimal(g.rng.choice(["0.40", "0.85", "0.12"] if right else ["0.40", "0.00"]))}
        out += cmd["prills"]["mass"]
    loss = Decimal(g.rng.choice(["1.20", "0.31", "0.00", "0.05", "-0.01"] + ["-0.40"] * (not right)))
    cmd["heel"] = max(book.melts[melt].charge - out - loss, Decimal(0)) if g.rng.random() < .8 else Decimal(0)
    return cmd


def tray(g, book, fits, right, whole, stage):
    pieces = some_of(g, book.pieces, fits, right, whole)
    return pieces and [{"piece": p, "mass": mass_for(g, book.pieces[p], stage)} for p in pieces]


def weigh_pieces(g, book, right, whole):
    stages = ["from_mould", "final"] if whole else ["from_mould", "final", "final", "finished"]
    stage = g.rng.choice(stages)
    session = session_of(g, book, right)
    if not session:
        return None
    from rule import Refused
    from rules_bench import may_weigh

    def fits(piece):
        try:
            may_weigh(book, piece, stage, book.sessions[session])
        except Refused:
            return False
        return not whole or not piece.final
    items = tray(g, book, fits, right, whole, stage)
    return items and {"session": session, "stage": stage, "items": items}


def finish_pieces(g, book, right, whole):
    jar = any_of(g, book.jars, lambda j: j.residue == "lemel", right or g.rng.random() < .7)
    items = tray(g, book, lambda p: p.state == "graded" and p.grade == "over", right, whole, "finished")
    if not (jar and items):
        return None
    for item in items:
        before = book.pieces[item["piece"]].mass
        if before is not None:
            item["mass"] = max(before - Decimal(g.rng.choice(["0.05", "0.60", "1.20", "0.00"])), Decimal(45))
            if not right and g.rng.random() < .3:
                item["mass"] = before + Decimal("0.50")
            if min(abs(item["mass"] - x) for x in (50, 51)) < Decimal("0.05"):
                item["mass"] = Decimal("50.40") if before > Decimal("50.40") else before
    return {"session": session_of(g, book, right), "jar": jar, "items": items}


def correct_entries(g, book, right, whole):
    """A wrong entry: withdrawn, or said anew with another weight or another piece."""
    entries = [(m, c) for m, c in book.commands if m > 12 or g.rng.random() < .1] or book.commands[:1]
    if not entries:
        return None
    corrections = []
    for _ in range(2 if g.rng.random() < .15 else 1):
        m, old = g.rng.choice(entries[-12:] if g.rng.random() < .6 else entries)
        new = copy.deepcopy(old) if g.rng.random() < .8 else None
        if new:
            altered(g, book, new)
            if new == old:
                return None
        corrections.append({"entry": m, "instead": new} if new else {"entry": m})
    return {"corrections": corrections, "reason": g.rng.choice(["mistyped", "wrong_thing"])}


def altered(g, book, cmd):
    """Something in it was typed wrongly: a weight, a piece, an outcome, a reason."""
    for member in ("items", "lots"):
        for item in cmd.get(member) or []:
            if "mass" in item and g.rng.random() < .5:
                item["mass"] = Decimal(g.rng.choice(GOOD + OTHER)) if member == "items" else item["mass"] + Decimal("1.50")
            if "piece" in item and g.rng.random() < .2:
                item["piece"] = g.rng.choice(list(book.pieces))
            if "outcome" in item and g.rng.random() < .5:
                item["outcome"] = g.rng.choice(["good", "weak"])
    if cmd.get("pieces") and g.rng.random() < .7:
        k = g.rng.randrange(len(cmd["pieces"]))
        like = [p.name for p in book.pieces.values() if p.state == "condemned"] if cmd["command"] == "charge_melt" else []
        cmd["pieces"][k] = g.rng.choice(like or list(book.pieces))  # P7 typed for P17
    if "piece" in cmd and g.rng.random() < .7:
        cmd["piece"] = g.rng.choice(list(book.pieces))
    if "mass" in cmd and g.rng.random() < .7:
        cmd["mass"] += Decimal(g.rng.choice(["-0.50", "1.00", "20"]))
        if min(abs(cmd["mass"] - 50), abs(cmd["mass"] - 51)) < Decimal("0.06"):
            cmd["mass"] = Decimal("50.40")
    if "heel" in cmd and g.rng.random() < .7:
        cmd["heel"] += Decimal("0.40")
    for line in cmd.get("lines") or []:
        if g.rng.random() < .4:
            line.pop("hallmark", None), line.pop("reason", None), line.pop("assay", None)
            line.update({"outcome": "unmarked", "reason": "no_room"} if g.rng.random() < .5 else {"outcome": "missing"})
    if "good" in cmd and g.rng.random() < .7:
        cmd["good"] = not cmd["good"]
    if cmd["command"] == "open_series":
        altered_series(g, cmd)
    if cmd["command"] == "receive_lot" and g.rng.random() < .4 and cmd["metal"] == "silver":
        cmd["fineness"], cmd["basis"] = Decimal(g.rng.choice(["999", "958", "925", "900"])), g.rng.choice(["declared", "assayed"])
    if cmd["command"] == "pour_pieces" and g.rng.random() < .7:
        if g.rng.random() < .5 and len(cmd["pours"]) > 1:
            cmd["pours"].pop()
        else:
            cmd["pours"][-1]["series"] = any_of(g, book.series)
    for wish in cmd.get("shapes") or []:
        wish["count"] = g.rng.randint(1, 3)
    if "reason" in cmd and g.rng.random() < .5:
        cmd["reason"] = g.rng.choice(["under", "over", "faulty", "damaged", "unwanted"])


def altered_series(g, cmd):
    """Limits, sizes or terms were typed wrongly."""
    if cmd.get("limits") and g.rng.random() < .5:
        cmd["limits"] = g.rng.choice([(Decimal(49), Decimal(51)), (Decimal(50), Decimal(52)), (Decimal("50.20"), Decimal(51))])
    for shape in cmd.get("sizes") or {}:
        if g.rng.random() < .3:
            cmd["sizes"][shape] = g.rng.randint(1, 5)
    for term in ("struck", "spares_sold", "number_on_metal"):
        if g.rng.random() < .15 and (term == "struck" or cmd["kind"] == "edition"):
            cmd[term] = not cmd.get(term, False)


PROPOSALS = {name: make for name, make in globals().items() if callable(make) and name in (
    "register_scale open_session check_session close_session register_owner agree_mixing receive_lot open_jar open_series "
    "charge_melt pour_pieces close_melt weigh_pieces finish_pieces correct_entries").split()}

import proposals_later  # noqa: E402,F401  adds the rest
