"""The rules of stamps, the assay office, the weight of record, numbers, spares and certificates."""

from making import grade, may_state
from workshop import must


def strike(shop, die, items):
    """A strike that comes out well makes a piece struck, any other mis-struck; it undoes a final weighing."""
    must(len({k for k, _ in items}) == len(items), "a piece is named twice")
    row = shop.dies[die]
    must(row["state"] == "in_use", "the die is out of use")
    for key, outcome in items:
        piece = shop.standing(key, {"graded", "serialled", "struck"}, "strike")
        must(shop.fit(piece) if piece.state == "graded" else piece.verdict == "accepted", "it is not accepted")
        must(not shop.melts[piece.melt].open, "its melt is open")
        must(not shop.series[piece.series].closed, "its series is closed")
        must(row["series"] in (None, piece.series) or outcome == "wrong_die", "the die was cut for another series")
        row["strikes"] += 1
        piece.state = "struck" if outcome == "good" else "mis_struck"
        piece.good_strike = outcome == "good"
        piece.final = None


def dispose_die(shop, die, how):
    """Back to its owner, destroyed, or retired."""
    row = shop.dies[die]
    must(row["state"] == "in_use" or (row["state"] == "retired" and how != "retired"), "the die is gone")
    must(how != "returned" or row["owner"] == "commissioner", "it is the workshop's own")
    must(how != "retired" or row["owner"] == "workshop", "it is not the workshop's to keep")
    row["state"] = how


def archive(shop, piece):
    """A mis-struck piece is kept, never for sale."""
    shop.standing(piece, {"mis_struck"}, "archive").state = "archived"


def consign(shop, pieces, fineness):
    """Pieces whose marking is required go to the office, at what their series states, and never above what is known."""
    for row in shop.only(pieces, {"serialled", "struck", "unmarked"}, "consign"):
        series, melt = shop.series[row.series], shop.melts[row.melt]
        must(row.serial, "it has no serial")
        must(series.marking and not series.closed, "its marking is exempt, or its series closed")
        must(row.good_strike or not series.struck, "it is not struck")
        must(row.verdict == "accepted", "it is not accepted")
        must(fineness == series.fineness, "the series states another fineness")
        must(fineness <= melt.fineness, "more is claimed than was melted")
        may_state(shop, row, fineness)
        row.state = "at_office"
    shop.consignments.append({"pieces": list(pieces), "fineness": fineness, "open": True})


def receive_back(shop, consignment, lines):
    """Every piece that was sent stands on one line: (piece, outcome, reason, assay)."""
    row = shop.consignments[consignment]
    must(row["open"], "it is back already")
    must(sorted(line[0] for line in lines) == sorted(row["pieces"]), "sent and returned differ")
    row["open"] = False
    for key, outcome, reason, assay in lines:
        piece = shop.pieces[key]
        if piece.state == "destroyed":
            must(outcome == "missing", "it was destroyed there")
            continue
        must(reason != "below_standard" or assay is None or assay < row["fineness"], "it is not below")
        piece.state = {"marked": "hallmarked", "unmarked": "unmarked", "missing": "missing"}.get(outcome, "kept")
        piece.unweighed, piece.final = outcome in ("marked", "unmarked"), None
        if outcome == "marked":
            piece.marked = row["fineness"]
        if reason == "below_standard":
            piece.refused_at = row["fineness"]
        if assay is not None:
            assayed(shop, piece, assay, row["fineness"])


def assayed(shop, piece, found, claimed):
    """The lowest assay counts, for the piece and, below the claim, for all its melt."""
    piece.assay = min(found, piece.assay or found)
    melt = shop.melts[piece.melt]
    if found < claimed:
        melt.assayed = min(found, melt.assayed or found)


def weigh_final(shop, session, items):
    """The weighing of record, of a piece that is marked or exempt. It stands until something touches the metal, a number
    put on it too, or until a certificate states it; before that it is not repeated, but as `look_again_finally` has it."""
    must(len({k for k, _ in items}) == len(items), "a piece is named twice")
    for key, mass in items:
        shop.weighing(session, mass)
        piece = shop.pieces[key]
        after = {"numbered", "spare", "certified", "reserved"}
        must(shop.ready(piece) or piece.state in after, f"weigh: piece {key} is {piece.state}")
        on_metal = shop.series[piece.series].on_metal and piece.number is not None and not piece.since_number
        if piece.final is not None and not on_metal and not piece.stated:
            look_again_finally(shop, piece, session)
        if piece.unweighed:
            piece.assay_loss, piece.unweighed = piece.assay_loss + piece.mass - mass, False
        grade(shop, piece, session, mass)
        piece.final, piece.stated = session, False
        piece.since_number = piece.number is not None


def look_again_finally(shop, piece, session):
    """A suspect reading is taken anew; what is borderline is looked at on better and better balances."""
    if not shop.suspect(piece):
        must(piece.verdict == "borderline", f"it is {piece.verdict}")
        must(shop.is_better(session, piece), "the balance is no better")


def number(shop, pieces):
    """The next number of its shape, to a finally weighed and accepted piece of an edition; N at most, none twice."""
    must(len(set(pieces)) == len(pieces), "a piece is named twice")
    for key in pieces:
        piece = shop.pieces[key]
        series = shop.series[piece.series]
        must(shop.ready(piece) or piece.state == "spare", f"number: piece {key} is {piece.state}")
        must(series.edition and series.numbered and not series.closed, "there are no numbers in it")
        must(piece.final is not None and shop.fit(piece), "it is not weighed and accepted")
        must(series.given[piece.shape] < series.sizes[piece.shape], "every number is given")
        series.given[piece.shape] += 1
        piece.number, piece.state, piece.since_number = series.given[piece.shape], "numbered", False


def spare(shop, pieces):
    """Finally weighed, accepted pieces of an edition are set aside."""
    must(len(set(pieces)) == len(pieces), "a piece is named twice")
    for key in pieces:
        piece = shop.pieces[key]
        series = shop.series[piece.series]
        must(shop.ready(piece) and series.edition and not series.closed, f"spare: piece {key} is {piece.state}")
        must(piece.final is not None and shop.fit(piece), "it is not weighed and accepted")
        piece.state = "spare"


def certify(shop, pieces):
    """First certificates: a serial, a closed melt, and a weight of record whose session's closing check held."""
    must(len(set(pieces)) == len(pieces), "a piece is named twice")
    for key in pieces:
        piece = shop.pieces[key]
        series = shop.series[piece.series]
        must(not piece.certified and not series.closed, "it has a certificate, or its series is closed")
        if series.edition and series.numbered:
            allowed = piece.state == "numbered" or (piece.state == "spare" and series.spares_sold)
        else:
            allowed = shop.ready(piece) or piece.state == "spare"
        must(allowed, f"certify: piece {key} is {piece.state}")
        must(piece.serial and piece.final is not None and shop.fit(piece), "it is not weighed and accepted")
        must(shop.sessions[piece.final]["held"], "its session is not confirmed")
        must(piece.number is None or not series.on_metal or piece.since_number, "it was numbered after its weighing")
        may_state(shop, piece, series.fineness)
        if series.edition and not series.numbered:
            must(series.given[piece.shape] < series.sizes[piece.shape], "every place is taken")
            series.given[piece.shape] += 1
        piece.certified, piece.stated, piece.state = True, True, "certified"


def close_series(shop, series):
    """An edition closes when nothing of it is loose: no open order, no piece on its way, no die cut for it."""
    row = shop.series[series]
    loose = {"poured", "graded", "condemned", "serialled", "struck", "mis_struck", "at_office", "hallmarked", "unmarked",
             "spare", "numbered"}
    must(row.edition and not row.closed, "it is no open edition")
    must(not any(o.series == series and o.state == "open" for o in shop.orders), "an order is open")
    must(not any(p.series == series and p.state in loose for p in shop.pieces), "a piece is loose")
    must(all(d["series"] != series or d["state"] in {"returned", "destroyed"} for d in shop.dies), "a die is loose")
    row.closed = True
