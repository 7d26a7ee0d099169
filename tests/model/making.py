"""The rules from the lot to the serial: metal, melts, the first weighing, filing, faults, and what is given up."""

from workshop import Melt, Piece, must

IN_WORK = {"graded", "serialled", "struck", "mis_struck", "hallmarked", "unmarked", "spare", "numbered", "returned", "bought_back"}
CAME_BACK = {"hallmarked", "unmarked", "returned", "bought_back"}


def open_session(shop, balance, reading):
    """A check weighing of 100 g that must hold; one session at a balance at a time."""
    must(not any(s["open"] and s["balance"] == balance for s in shop.sessions), "a session is open at this balance")
    must(shop.balances[balance].holds(10_000_000, reading), "the check weighing does not hold")
    shop.sessions.append({"balance": balance, "open": True, "held": False})


def close_session(shop, session, reading):
    """The closing check, whatever it shows: only one that holds confirms what was weighed."""
    must(shop.sessions[session]["open"], "the session is closed")
    balance = shop.balances[shop.sessions[session]["balance"]]
    shop.sessions[session].update(open=False, held=balance.holds(10_000_000, reading))


def receive_lot(shop, session, mass, fineness, owner=None):
    """Metal comes in."""
    shop.weighing(session, mass)
    shop.lots.append({"mass": mass, "left": mass, "fineness": fineness, "owner": owner})


def agree_mixing(shop, owner):
    """A customer agrees that their metal is mixed, or says so again."""
    shop.owners[owner] = True


def charge_melt(shop, session, lots, pieces, heels):
    """Lots drawn, condemned pieces and heels; metal of different owners only where every customer among them agreed."""
    shop.weighing(session, 0)
    must(lots or pieces or heels, "an empty crucible")
    charge, fine, owners = 0, 0, set()
    for lot, mass in lots:
        must(0 < mass <= shop.lots[lot]["left"], "a lot cannot be overdrawn")
        shop.lots[lot]["left"] -= mass
        charge, fine = charge + mass, fine + mass * shop.lots[lot]["fineness"]
        owners.add(shop.lots[lot]["owner"])
    for piece in shop.only(pieces, {"condemned"}, "melt"):
        piece.state = "remelted"
        melt = shop.melts[piece.melt]
        must(not melt.open, "its melt is open")
        charge, fine = charge + piece.mass, fine + piece.mass * reckoned(melt)
        owners |= melt.owners
    for heel in heels:
        melt = shop.melts[heel]
        must(melt.heel > 0 and not melt.heel_taken and not melt.open, "there is no such heel")
        melt.heel_taken = True
        charge, fine = charge + melt.heel, fine + melt.heel * reckoned(melt)
        owners |= melt.owners
    mixed(shop, owners)
    shop.melts.append(Melt(charge, fine // charge, owners))


def reckoned(melt):
    """As declared, or what an assay found if that is less."""
    return min(melt.fineness, melt.assayed or melt.fineness)


def mixed(shop, owners):
    """Refuses metal of different owners unless the customers among them agreed; None is the workshop."""
    must(len(owners) < 2 or all(o is None or shop.owners[o] for o in owners), "metal of a customer who has not agreed")


def pour(shop, melt, pours):
    """One piece for each cavity, from an open melt, for a series that is not closed."""
    must(shop.melts[melt].open, "the melt is closed")
    for series, shape in pours:
        must(not shop.series[series].closed, "the series is closed")
        must(not shop.series[series].edition or shape in shop.series[series].sizes, "the edition has no such shape")
        must(shop.melts[melt].fineness >= shop.series[series].fineness, "the melt is below the fineness of the series")
        shop.pieces.append(Piece(melt, series, shape))


def close_melt(shop, melt, session, heel):
    """Inputs = pieces + heel + loss; every pour is weighed first."""
    shop.weighing(session, heel)
    row = shop.melts[melt]
    poured = [p for p in shop.pieces if p.melt == melt]
    must(row.open, "the melt is closed")
    must(all(p.state != "poured" for p in poured), "a pour is not weighed")
    out = heel + sum(p.from_mould for p in poured)
    row.open, row.heel = False, heel
    row.loss = row.charge - out


def weigh_mould(shop, session, items):
    """The first weighing grades. Until its melt is weighed out, one that is borderline is weighed once more on a better
    balance, and a suspect reading is taken anew; anything else was mistyped and is corrected."""
    must(len({k for k, _ in items}) == len(items), "a piece is named twice")
    for key, mass in items:
        shop.weighing(session, mass)
        piece = shop.standing(key, {"poured", "graded"}, "weigh")
        must(shop.melts[piece.melt].open, "its melt is weighed out")
        if piece.state == "graded":
            look_again(shop, piece, session)
        else:
            piece.looks = 1
        piece.from_mould = mass
        grade(shop, piece, session, mass)
        piece.state = "graded"


def look_again(shop, piece, session):
    """Whether a piece may be weighed once more, counted among the looks that no failed check made worthless."""
    if shop.suspect(piece):
        return
    must(piece.verdict == "borderline", f"it is {piece.verdict}")
    must(piece.looks < 2, "it was weighed again already")
    must(shop.is_better(session, piece), "the balance is no better")
    piece.looks += 1


def grade(shop, piece, session, mass):
    """A reading, and its verdict by the limits of the series; what is faulty stays so, whatever it weighs."""
    balance = shop.balances[shop.sessions[session]["balance"]]
    piece.mass, piece.session = mass, session
    if piece.verdict != "faulty":
        piece.verdict = balance.verdict(mass, shop.series[piece.series].limits)


def finish(shop, session, jar, items):
    """Metal is taken off and goes into a jar; the grade is made anew."""
    must(len({k for k, _ in items}) == len(items), "a piece is named twice")
    for key, mass in items:
        shop.weighing(session, mass)
        piece = shop.standing(key, {"graded"}, "finish")
        melt = shop.melts[piece.melt]
        must(not melt.open, "its melt is open")
        must(mass <= piece.mass, "filing adds nothing")
        mixed(shop, shop.jars[jar]["owners"] | melt.owners)
        if mass < piece.mass:
            shop.jars[jar]["owners"] = shop.jars[jar]["owners"] | melt.owners
        shop.jars[jar]["mass"] += piece.mass - mass
        piece.filed += piece.mass - mass
        grade(shop, piece, session, mass)


def fault(shop, piece):
    """Unfit by eye."""
    piece = shop.standing(piece, IN_WORK | {"poured"}, "fault")
    must(piece.verdict != "faulty", "it is faulty already")
    piece.verdict = "faulty"


def condemn(shop, piece, reason):
    """Given up, on a ground that is true of it, or because the maker wants the metal; a number that it has is burned."""
    row = shop.standing(piece, IN_WORK, "condemn")
    true = {
        "mis_struck": row.state == "mis_struck",
        "unmarked": row.state == "unmarked",
        "damaged": row.state in CAME_BACK,
        "unwanted": True,
    }
    must(true.get(reason, row.verdict == reason), "it is not that")
    row.state = "condemned"


def move(shop, piece, to):
    """A piece goes to an open series before it has a number; one that came back unmarked may then be sent again."""
    row = shop.standing(piece, {"graded", "serialled", "struck", "hallmarked", "unmarked"}, "move")
    target = shop.series[to]
    must(not target.edition and to != row.series, "that is no other open series")
    must(row.verdict != "faulty", "it is faulty")
    may_state(shop, row, target.fineness)
    must(shop.melts[row.melt].fineness >= target.fineness, "its melt is below the fineness of the series")
    if row.state == "unmarked":
        row.state = "struck" if row.good_strike else "serialled"
    row.series = to
    grade(shop, row, row.session, row.mass)


def may_state(shop, piece, fineness):
    """A fineness mark never exceeds the assay; a refusal is an assay of a kind."""
    must(piece.refused_at is None or fineness < piece.refused_at, "it was refused at that fineness")
    must(fineness <= shop.known(piece), "an assay found less")


def serial(shop, pieces):
    """Accepted pieces of a closed melt get their serials, once and for ever."""
    for row in shop.only(pieces, {"graded", "struck"}, "serial"):
        must(shop.fit(row), "it is not accepted")
        must(not row.serial, "it has a serial")
        must(not shop.melts[row.melt].open, "its melt is open")
        must(not shop.series[row.series].closed, "the series is closed")
        row.serial = True
        row.state = "struck" if row.state == "struck" else "serialled"
