"""The rules of what comes after a sale, what may befall a piece at any time, and the refiner."""

from making import mixed
from marking import grade
from trade import release_row
from workshop import must

HELD = {"graded", "condemned", "serialled", "struck", "mis_struck", "archived", "hallmarked", "unmarked", "spare", "numbered",
        "certified", "reserved", "sold", "delivered", "returned", "bought_back"}
ENDED = {"poured", "remelted", "refined", "destroyed"}


def over(shop, piece, key):
    """The sale of a piece is over; what it supplied stays supplied."""
    shop.sales[piece.sale]["undone"].add(key)
    piece.sale, piece.order = None, None


def find(shop, piece):
    """What was lost turns up: on its way again while its sale stands, else back in the workshop."""
    row = shop.standing(piece, {"lost"}, "find")
    row.state = "dispatched" if row.sale is not None else "returned"


def give_back(shop, piece):
    """The buyer gives it back."""
    row = shop.standing(piece, {"delivered"}, "return")
    row.state = "returned"
    over(shop, row, piece)


def buy_back(shop, piece, session, mass):
    """The workshop buys it back and weighs it."""
    row = shop.standing(piece, {"delivered"}, "buy back")
    shop.weighing(session, mass)
    grade(shop, row, session, mass)
    row.state, row.final = "bought_back", None
    over(shop, row, piece)


def restock(shop, piece):
    """What came back is for sale again."""
    row = shop.standing(piece, {"returned", "bought_back"}, "restock")
    must(row.verdict != "faulty", "it is faulty")
    row.state = "certified"


def steal(shop, piece):
    """Any held state; the state before is remembered."""
    row = shop.standing(piece, HELD, "steal")
    row.before, row.state = row.state, "stolen"


def recover(shop, piece):
    """Back to the state before."""
    row = shop.standing(piece, {"stolen"}, "recover")
    row.state, row.before = row.before, None


def destroy(shop, piece, witness):
    """Before a witness; there is no way out."""
    row = shop.pieces[piece]
    must(row.state not in ENDED, f"destroy: piece {piece} is {row.state}")
    must(witness, "nobody saw it")
    if "reserved" in (row.state, row.before):
        release_row(shop, row)
    row.before = row.before if row.state == "stolen" else row.state
    row.state = "destroyed"


def refine(shop, session, jars, pieces):
    """Residues and condemned pieces go to the refiner; a jar is weighed as it is emptied."""
    must(jars or pieces, "nothing is sent")
    total, owners = 0, set()
    for jar, mass in jars:
        shop.weighing(session, mass)
        must(mass > 0, "an empty jar")
        owners |= shop.jars[jar]["owners"]
        shop.jars[jar] = {"mass": 0, "owners": set()}
        total += mass
    must(shop.sessions[session]["open"], "the session is closed")
    for row in shop.only(pieces, {"condemned"}, "refine"):
        must(not shop.melts[row.melt].open, "its melt is open")
        row.state = "refined"
        total += row.mass
        owners |= shop.melts[row.melt].owners
    mixed(shop, owners)
    shop.refinings.append({"mass": total, "loss": None, "owners": owners})


def return_refining(shop, refining, outturn, settled):
    """Sent = outturn + settled + loss, and the loss is derived."""
    row = shop.refinings[refining]
    must(row["loss"] is None, "it is accounted for")
    must(outturn is not None or settled is not None, "nothing came back and nothing is settled")
    loss = row["mass"] - (settled or 0)
    if outturn is not None:
        session, mass = outturn
        shop.weighing(session, mass)
        owner = next(iter(row["owners"])) if len(row["owners"]) == 1 else None
        shop.lots.append({"mass": mass, "left": mass, "fineness": 9990, "owner": owner})
        loss -= mass
    row["loss"] = loss
