"""The other proposals: what happens to a piece after the bench."""

from decimal import Decimal

from proposals import PROPOSALS, any_of, mass_for, session_of, some_of
from rule import Refused


def proposal(make):
    PROPOSALS[make.__name__] = make
    return make


def alone(book, command):
    """Whether a piece would be taken on its own by a command about a list of pieces."""
    def fits(piece):
        try:
            book.check(0, {"command": command, "pieces": [piece.name]})
        except Refused:
            return False
        return True
    return fits


def on_piece(command, states, more=lambda g, p, right: {}, fits=lambda p: True):
    """A command about one piece in one of these states."""
    def make(g, book, right, whole):
        piece = any_of(g, book.pieces, lambda p: p.state in states and fits(p), right)
        return piece and {"piece": piece, **more(g, book.pieces[piece], right)}
    PROPOSALS[command] = make


REASONS = {"mis-struck": "mis_struck", "returned unmarked": "unmarked"}


def why(g, piece, right):
    fitting = REASONS.get(piece.state, piece.grade if piece.grade != "accepted" else "unwanted")
    return {"reason": fitting if g.rng.random() < .7 else
            g.rng.choice(["under", "over", "faulty", "borderline", "mis_struck", "unmarked", "damaged", "unwanted"])}


on_piece("fault_piece", ("poured", "graded"), lambda g, p, right: {"fault": g.rng.choice(["cold_shut", "crack", "porosity"])})
on_piece("condemn_piece", ("graded", "struck", "mis-struck", "returned unmarked", "hallmarked", "spare", "returned", "bought back"),
         why, lambda p: p.grade != "accepted" or p.state not in ("graded", "struck", "hallmarked"))
on_piece("archive_piece", ("mis-struck",))
on_piece("supersede_certificate", ("certified", "reserved", "sold", "delivered"),
         lambda g, p, right: {"reason": g.rng.choice(["damaged", "mistake", "reweighed"])})
on_piece("release_piece", ("reserved", "stolen"))
on_piece("find_piece", ("lost in transit",))
on_piece("return_piece", ("delivered",))
on_piece("restock_piece", ("returned", "bought back"))
on_piece("steal_piece", ("graded", "struck", "hallmarked", "numbered", "certified", "reserved", "sold", "returned", "spare",
                         "condemned", "poured", "mis-struck", "archive", "returned unmarked", "bought back"))
on_piece("recover_piece", ("stolen",))
on_piece("destroy_piece", ("graded", "struck", "certified", "delivered", "stolen", "lost in transit", "condemned", "numbered",
                           "poured", "sold", "spare", "missing", "returned", "at assay office", "dispatched", "hallmarked",
                           "kept or cut by the office", "bought back", "returned unmarked"),
         lambda g, p, right: {"witness": "a neighbour"})


@proposal
def move_piece(g, book, right, whole):
    piece = any_of(g, book.pieces, lambda p: p.grade in ("under", "over") or p.state == "returned unmarked", right)
    to = any_of(g, book.series, lambda s: s.kind == "open", right or g.rng.random() < .7)
    return piece and to and {"piece": piece, "to": to}


@proposal
def close_series(g, book, right, whole):
    series = any_of(g, book.series, lambda s: s.kind == "edition" and not s.closed, right or g.rng.random() < .8)
    return series and {"series": series}


@proposal
def register_die(g, book, right, whole):
    series = any_of(g, book.series, lambda s: s.kind == "edition", right) if g.rng.random() < .5 else None
    return {"owner": g.rng.choice(["workshop", "commissioner"]), **({"series": series} if series else {})}


@proposal
def dispose_die(g, book, right, whole):
    die = any_of(g, book.dies, lambda d: d.state == "in_use", right)
    return die and {"die": die, "how": g.rng.choice(["returned", "destroyed", "retired"])}


@proposal
def strike_pieces(g, book, right, whole):
    die = any_of(g, book.dies, lambda d: d.state == "in_use", right)
    pieces = some_of(g, book.pieces, lambda p: p.state == "graded" and (p.odd or p.grade == "accepted") and
                     (book.series[p.series].struck or g.rng.random() < .1), right, whole)
    return die and pieces and {"die": die, "items": [
        {"piece": p, "outcome": "good" if g.rng.random() < .85 else g.rng.choice(["double", "weak", "cracked", "slipped"])}
        for p in pieces]}


@proposal
def give_serials(g, book, right, whole):
    pieces = some_of(g, book.pieces, alone(book, "give_serials"), right, whole)
    return pieces and {"pieces": pieces}


@proposal
def number_pieces(g, book, right, whole):
    pieces = some_of(g, book.pieces, alone(book, "number_pieces"), right, whole)
    if pieces and right and whole:
        rest = {s.name: dict(s.sizes) for s in book.series.values()}
        kept = []
        for p in pieces:
            piece = book.pieces[p]
            room = rest[piece.series]
            if room[piece.shape] > book.series[piece.series].numbers[piece.shape]:
                room[piece.shape] -= 1
                kept.append(p)
        pieces = kept
    return pieces and {"pieces": pieces}


@proposal
def issue_certificates(g, book, right, whole):
    pieces = some_of(g, book.pieces, alone(book, "issue_certificates"), right, whole)
    return pieces and {"pieces": pieces}


@proposal
def spare_pieces(g, book, right, whole):
    pieces = some_of(g, book.pieces, alone(book, "spare_pieces"), right, most=2)
    return pieces and {"pieces": pieces}


@proposal
def send_consignment(g, book, right, whole):
    def fits(piece):
        try:
            book.check(0, {"command": "send_consignment", "pieces": [piece.name], "fineness": book.series[piece.series].fineness})
        except Refused:
            return False
        return True
    pieces = some_of(g, book.pieces, fits, right, whole)
    if not pieces:
        return None
    claim = book.series[book.pieces[pieces[0]].series].fineness
    if right:
        pieces = [p for p in pieces if book.series[book.pieces[p].series].fineness == claim]
    return {"pieces": pieces, "fineness": claim if g.rng.random() < .8 else Decimal(g.rng.choice(["925", "958", "999.9"]))}


@proposal
def return_consignment(g, book, right, whole):
    name = any_of(g, book.consignments, lambda c: c.state == "at_office", right)
    if not name:
        return None
    lines = []
    for piece in book.consignments[name].pieces:
        gone = book.pieces[piece].state == "destroyed" and right
        outcome = g.rng.choice(["marked"] * 14 + ["unmarked"] * 4 + ["kept", "cut", "missing"])
        line = {"piece": piece, "outcome": "missing" if gone else outcome}
        if line["outcome"] == "marked":
            line["hallmark"] = book.consignments[name].fineness
        if line["outcome"] == "unmarked":
            line["reason"] = g.rng.choice(["below_standard", "below_standard", "damaged", "no_room", "withdrawn"])
        if line["outcome"] != "missing" and g.rng.random() < .2:
            below = line["outcome"] != "marked" or not right
            line["assay"] = book.consignments[name].fineness + Decimal(-3 if below else 0)
        lines.append(line)
    if not right:
        g.rng.choice([lambda: lines.pop(), lambda: lines.append(dict(lines[0])), lambda: lines[0].pop("hallmark", 0),
                      lambda: lines[0].update(piece=g.rng.choice(list(book.pieces))),
                      lambda: lines[0].update(outcome="marked", hallmark=Decimal(g.rng.choice(["999", "958", "800"]))),
                      lambda: lines[0].update(reason="no_room")])()
    return {"consignment": name, "lines": lines} if lines else None


@proposal
def record_order(g, book, right, whole):
    series = any_of(g, book.series, lambda s: s.kind == "edition", right)
    if not series:
        return None
    shapes = list(book.series[series].sizes) or ["oval"]
    most = 1 if whole else 2 if right else 5
    return {"series": series, "shapes": [{"shape": s, "count": g.rng.randint(1, most)}
                                         for s in g.rng.sample(shapes, g.rng.randint(1, len(shapes)))]}


@proposal
def cancel_order(g, book, right, whole):
    order = any_of(g, book.orders, lambda o: o.state == "open" and (any(o.reserved.values()) or g.rng.random() < .3), right)
    return order and {"order": order}


@proposal
def reserve_piece(g, book, right, whole):
    piece = any_of(g, book.pieces, lambda p: p.state == "certified", right or g.rng.random() < .6)
    if not piece:
        return None
    order = any_of(g, book.orders, lambda o: o.state == "open" and o.series == book.pieces[piece].series, right)
    return {"piece": piece, **({"order": order} if order and g.rng.random() < .6 else {})}


@proposal
def sell_pieces(g, book, right, whole):
    def fits(p):
        return p.state in ("certified", "reserved")
    pieces = some_of(g, book.pieces, fits, right or g.rng.random() < .5, most=3)
    if not pieces:
        return None
    order = next((book.pieces[p].order for p in pieces if book.pieces[p].order), None)
    if (order is None or not right) and g.rng.random() < .5:
        order = any_of(g, book.orders, lambda o: o.state == "open", right)
    return {"pieces": pieces, **({"order": order} if order and g.rng.random() < .85 else {})}


def on_sale(command, state):
    def make(g, book, right, whole):
        sale = any_of(g, book.sales, lambda s: any(book.pieces[p].sale == s.name and book.pieces[p].state == state
                                                   for p in s.pieces), right)
        if not sale:
            return None
        own = {p: book.pieces[p] for p in book.sales[sale].pieces if p in book.pieces}
        pieces = some_of(g, own if g.rng.random() < .9 else book.pieces,
                         lambda p: p.state == state and p.sale == sale, right, whole, most=2)
        return pieces and {"sale": sale, "pieces": pieces}
    PROPOSALS[command] = make


for _command, _state in (("cancel_sale", "sold"), ("hand_over_pieces", "sold"), ("dispatch_pieces", "sold"),
                         ("deliver_pieces", "dispatched"), ("lose_pieces", "dispatched"), ("send_back_pieces", "dispatched")):
    on_sale(_command, _state)


@proposal
def buy_back_piece(g, book, right, whole):
    piece = any_of(g, book.pieces, lambda p: p.state == "delivered", right)
    return piece and {"piece": piece, "session": session_of(g, book, right), "mass": mass_for(g, book.pieces[piece], "returned")}


@proposal
def gather_sweeps(g, book, right, whole):
    jar = any_of(g, book.jars, lambda j: j.residue == "sweeps", right)
    mass = Decimal(g.rng.choice(["80", "210.50"] if right else ["80", "0.00"]))
    return jar and {"jar": jar, "session": session_of(g, book, right), "mass": mass}


@proposal
def send_to_refiner(g, book, right, whole):
    cmd = {"metal": "silver" if right else g.rng.choice(["silver", "gold"]), "session": session_of(g, book, right)}
    jars = some_of(g, book.jars, lambda j: j.holds or j.swept, right, most=2) if g.rng.random() < .8 else None
    if jars:
        cmd["jars"] = [{"jar": j, "mass": max(book.jars[j].mass + book.jars[j].swept + Decimal(g.rng.choice(["-0.01", "0", "0.02"])),
                                              Decimal("0.05"))} for j in jars]
    pieces = some_of(g, book.pieces, lambda p: p.state == "condemned", right, most=3) if g.rng.random() < .6 else None
    if pieces:
        cmd["pieces"] = pieces
    return cmd


@proposal
def return_refining(g, book, right, whole):
    name = any_of(g, book.refinings, lambda r: r.state == "at_refiner", right)
    if not name:
        return None
    sent = book.refinings[name].mass
    cmd = {"refining": name}
    parts = g.rng.choice([("outturn",), ("settled",), ("outturn", "settled"), ()])
    share = sent / 2 if len(parts) == 2 else sent
    share = max((share * Decimal("0.97")).quantize(Decimal("0.01")), Decimal("0.02"))
    if "outturn" in parts:
        cmd["outturn"] = {"session": session_of(g, book, right), "mass": share, "fineness": Decimal("999.9")}
    if "settled" in parts:
        cmd["settled"] = {"mass": share, "fineness": Decimal("999")}
    return cmd
