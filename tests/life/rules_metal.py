"""Rules of metal: scales and their sessions, owners, lots, jars, melts and the refiner."""

from decimal import Decimal

from amounts import blend
from rule import need, once, rule
from things import Jar, Lot, Melt, Owner, Refining, Scale, Session

ZERO = Decimal(0)
ORDER_OF_BASIS = ["declared", "assayed", "hallmarked"]


def open_session_of(book, name):
    """Every reading carries scale and session, and a session is bracketed by check weighings."""
    session = book.sessions.get(name)
    need(session and session.state == "open", "no open session")
    return session


def noted(session, what, which=0):
    """A reading (of a piece: the how-manieth) was taken in the session: suspect if the next check fails."""
    session.suspect_now.append((what, which))


def bracketed(book, piece):
    """A session is bracketed by check weighings: it is closed, and a good one stands after the last reading."""
    session = book.sessions[piece.readings[-1][2]]
    return session.state != "open" and not suspect(book, piece)


def suspect(book, piece):
    """Whether its last reading stands after the last good check of a session whose next check failed."""
    return bool(piece.readings) and (piece.name, len(piece.readings)) in book.sessions[piece.readings[-1][2]].suspect


@rule
def register_scale(book, n, cmd):
    yield
    book.scales[f"scale:{n}"] = Scale(f"scale:{n}", cmd["d"])


@rule
def open_session(book, n, cmd):
    scale = book.scales.get(cmd["scale"])
    need(scale, "no such scale")
    need(cmd["good"], "the check weighing failed")  # page is silent: a session begins with a check that holds
    need(scale.session is None, "the scale is in a session")  # page is silent
    yield
    book.sessions[f"session:{n}"] = Session(f"session:{n}", scale.name)
    scale.session = f"session:{n}"


def checked(book, session, good, closes):
    """A check weighing: what was weighed since the last good one stands, or is suspect."""
    if good:
        session.suspect_now = []
    else:
        session.suspect += session.suspect_now
        session.suspect_now = []
        session.state = "failed"
    if closes and good:
        session.state = "confirmed"
    if session.state != "open":
        book.scales[session.scale].session = None


@rule
def check_session(book, n, cmd):
    session = open_session_of(book, cmd["session"])
    yield
    checked(book, session, cmd["good"], False)


@rule
def close_session(book, n, cmd):
    session = open_session_of(book, cmd["session"])
    yield
    checked(book, session, cmd["good"], True)


@rule
def register_owner(book, n, cmd):
    yield
    book.owners[f"owner:{n}"] = Owner(f"owner:{n}")


@rule
def agree_mixing(book, n, cmd):
    owner = book.owners.get(cmd["owner"])
    need(owner, "no such owner")
    yield
    owner.agreed = True


@rule
def receive_lot(book, n, cmd):
    session = open_session_of(book, cmd["session"])
    need(cmd["metal"] != "copper" or cmd["fineness"] == 1000, "an alloy metal is pure")  # page is silent
    need(cmd.get("owner") is None or cmd["owner"] in book.owners, "no such owner")
    need(cmd["mass"] > 0, "nothing was received")  # page is silent
    yield
    name = f"lot:{n}"
    book.lots[name] = Lot(name, cmd["metal"], cmd["fineness"], cmd["basis"], cmd["mass"], cmd["mass"], cmd.get("owner"))
    noted(session, name)


@rule
def open_jar(book, n, cmd):
    yield
    book.jars[f"jar:{n}"] = Jar(f"jar:{n}", cmd["metal"], cmd["fineness"], cmd["residue"])


def known_fineness(melt):
    """Of a melt's metal: as blended, or less if an assay office found less."""  # page is silent
    return melt.fineness if melt.assayed is None else min(melt.fineness, melt.assayed)


def mixing_agreed(book, owners):
    """Metal of several owners is mixed only if every customer among them agreed."""  # page is silent
    need(len(owners) == 1 or all(o is None or book.owners[o].agreed for o in owners), "mixing was not agreed")


def owners_of(book, parts):
    """Whose metal is in it, each once."""
    found = []
    for owners in parts:
        found += [o for o in owners if o not in found]
    return found


@rule
def charge_melt(book, n, cmd):
    """Charge = lots drawn + condemned pieces + heel + prills."""
    session = open_session_of(book, cmd["session"])
    lots, heels, jars, pieces = (cmd.get(k, []) for k in ("lots", "heels", "jars", "pieces"))
    need(lots or heels or jars or pieces, "an empty crucible")
    for names in ([x["lot"] for x in lots], heels, [x["jar"] for x in jars], pieces):
        once(names)
    parts, owners, bases, variance = [], [], [], ZERO
    for draw in lots:
        lot = book.lots.get(draw["lot"])
        need(lot, "no such lot")
        need(ZERO < draw["mass"] <= lot.left, "a lot cannot be overdrawn")
        parts.append((lot.metal, draw["mass"], lot.fineness))
        owners.append([lot.owner])
        bases += [lot.basis] * (lot.metal == cmd["metal"])  # page is silent: an alloy metal rests on nothing
    for name in heels:
        melt = book.melts.get(name)
        need(melt and melt.closed and melt.heel > 0 and melt.heel_taken is None, "no heel to take")
        parts.append((melt.metal, melt.heel, known_fineness(melt)))
        owners.append(melt.owners)
        bases.append(melt.basis)
    for draw in jars:
        jar = book.jars.get(draw["jar"])
        need(jar, "no such jar")
        need(jar.residue != "sweeps", "sweeps are in no charge")
        need(jar.residue != "lemel", "charge = lots drawn + condemned pieces + heel + prills: no lemel")
        need(jar.holds, "the jar is empty")  # page is silent
        need(draw["mass"] > 0, "nothing was weighed out")  # page is silent
        # page is silent: a jar has the least fineness of what it was opened for and of what is in it
        fineness = min([jar.fineness] + [known_fineness(book.melts[m]) for m in jar.holds])
        parts.append((jar.metal, draw["mass"], fineness))
        owners += [book.melts[m].owners for m in jar.holds]
        bases += [book.melts[m].basis for m in jar.holds]
        variance += draw["mass"] - jar.mass
    for name in pieces:
        piece = book.pieces.get(name)
        need(piece and piece.state == "condemned", "only a condemned piece enters a melt")
        need(book.melts[piece.melt].closed, "its melt is not weighed out")  # page is silent
        melt = book.melts[piece.melt]
        parts.append((melt.metal, piece.mass, known_fineness(melt)))
        owners.append(melt.owners)
        bases.append(melt.basis)
    need(all(metal in (cmd["metal"], "copper") for metal, _, _ in parts), "of another metal")  # page is silent
    need(any(metal == cmd["metal"] for metal, _, _ in parts), "nothing of that metal")  # page is silent
    owners = owners_of(book, owners)
    mixing_agreed(book, owners)
    yield
    melt = f"melt:{n}"
    charge = sum((m for _, m, _ in parts), ZERO)
    fineness = blend([(m, f if metal == cmd["metal"] else ZERO) for metal, m, f in parts])
    book.melts[melt] = Melt(melt, cmd["metal"], charge, fineness, min(bases, key=ORDER_OF_BASIS.index), owners, parts, variance)
    for draw in lots:
        book.lots[draw["lot"]].left -= draw["mass"]
    for name in heels:
        book.melts[name].heel_taken = melt
    for draw in jars:
        book.jars[draw["jar"]].holds = {}
    for name in pieces:
        book.pieces[name].state = "remelted"
        book.pieces[name].remelted = melt
    noted(session, melt)


def residue_fits(book, jar, kind, melt):
    """One jar per metal and fineness; beads are prills, filings are lemel."""
    need(jar, "no such jar")
    need(jar.residue == kind, "the jar is for other residues")
    need(jar.metal == melt.metal, "the jar is for another metal")
    need(known_fineness(melt) >= jar.fineness, "the jar is for a higher fineness")  # page is silent: on "one fineness" of blends
    mixing_agreed(book, owners_of(book, [book.melts[m].owners for m in jar.holds] + [melt.owners]))


@rule
def close_melt(book, n, cmd):
    """Loss is derived, never typed: from the charge, the pieces (a better reading supersedes), the heel and the prills."""
    session = open_session_of(book, cmd["session"])
    melt = book.melts.get(cmd["melt"])
    need(melt and not melt.closed, "no open melt")
    need(all(book.pieces[p].readings for p in melt.pieces), "a piece of it was never weighed")
    prills = cmd.get("prills")
    need(melt.pieces or cmd["heel"] or prills, "nothing came out")  # page is silent
    if prills:
        residue_fits(book, book.jars.get(prills["jar"]), "prills", melt)
        need(prills["mass"] > 0, "no prills")  # page is silent
    yield
    out = sum((book.pieces[p].mass for p in melt.pieces), ZERO)
    melt.heel, melt.prills, melt.closed = cmd["heel"], prills and prills["mass"], True
    melt.loss = melt.charge - out - melt.heel - (melt.prills or ZERO)
    for name in melt.pieces:
        book.pieces[name].counted = book.pieces[name].mass
    if prills:
        holds = book.jars[prills["jar"]].holds
        holds[melt.name] = holds.get(melt.name, ZERO) + prills["mass"]
    noted(session, melt.name)


@rule
def gather_sweeps(book, n, cmd):
    session = open_session_of(book, cmd["session"])
    jar = book.jars.get(cmd["jar"])
    need(jar and jar.residue == "sweeps", "no jar for sweeps")
    need(cmd["mass"] > 0, "nothing was swept")  # page is silent
    yield
    jar.swept += cmd["mass"]  # page is silent: dust counts for no metal until the refiner says what was in it
    noted(session, jar.name)


@rule
def send_to_refiner(book, n, cmd):
    """Residues and off-grade scrap go to the refiner."""
    session = open_session_of(book, cmd["session"])
    jars, pieces = cmd.get("jars", []), cmd.get("pieces", [])
    need(jars or pieces, "nothing is sent")
    once([x["jar"] for x in jars])
    once(pieces)
    mass, variance, owners = ZERO, ZERO, []
    for draw in jars:
        jar = book.jars.get(draw["jar"])
        need(jar and jar.metal == cmd["metal"], "no jar of that metal")
        need(jar.holds or jar.swept, "the jar is empty")  # page is silent
        need(draw["mass"] > 0, "nothing was weighed")  # page is silent
        if jar.residue != "sweeps":
            mass += draw["mass"]
            variance += draw["mass"] - jar.mass
        owners += [book.melts[m].owners for m in jar.holds] or [[None]]
    for name in pieces:
        piece = book.pieces.get(name)
        need(piece and piece.state == "condemned", "only a condemned piece is sent to the refiner")
        need(book.melts[piece.melt].closed, "its melt is not weighed out")  # page is silent
        need(book.melts[piece.melt].metal == cmd["metal"], "a piece of another metal")
        mass += piece.mass
        owners.append(book.melts[piece.melt].owners)
    owners = owners_of(book, owners)
    mixing_agreed(book, owners)
    yield
    name = f"refining:{n}"
    book.refinings[name] = Refining(name, cmd["metal"], mass, list(pieces), [x["jar"] for x in jars], owners, variance=variance)
    for draw in jars:
        book.jars[draw["jar"]].holds = {}
        book.jars[draw["jar"]].swept = ZERO
    for piece in pieces:
        book.pieces[piece].state, book.pieces[piece].refined = "at the refiner", name
    noted(session, name)


@rule
def return_refining(book, n, cmd):
    """It comes back as an outturn (a new lot) or is settled in money; what is missing is the refining loss."""
    refining = book.refinings.get(cmd["refining"])
    need(refining and refining.state == "at_refiner", "not at the refiner")
    outturn, settled = cmd.get("outturn"), cmd.get("settled")
    need(outturn or settled, "neither outturn nor settlement")
    session = open_session_of(book, outturn["session"]) if outturn else None
    yield
    refining.settled = settled and settled["mass"]
    refining.loss = refining.mass - (outturn["mass"] if outturn else ZERO) - (refining.settled or ZERO)
    if outturn:
        name = refining.outturn = f"lot:{n}"
        owner = refining.owners[0] if len(refining.owners) == 1 else None  # page is silent: of metal of several owners
        book.lots[name] = Lot(name, refining.metal, outturn["fineness"], "assayed", outturn["mass"], outturn["mass"],
                              owner, refining.name)
        noted(session, name)
