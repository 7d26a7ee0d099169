"""Rules of the assay office, serials, edition numbers, spares, certificates and the close of an edition."""

from rule import need, rule
from rules_bench import fit, goes_on, marked_or_exempt, pieces_of, struck_well
from rules_metal import bracketed, known_fineness, suspect
from things import Consignment


@rule
def send_consignment(book, n, cmd):
    """A piece is in one consignment at a time."""
    pieces = pieces_of(book, cmd["pieces"])
    for piece in pieces:
        series = book.series[piece.series]
        need(series.marking == "required", "where marking is exempt, straight to final weighing")
        need(piece.state != "returned unmarked", "condemned or resubmitted at a lower standard, outside the edition")
        goes_on(book, piece)
        need(piece.serial is not None, "no serial yet")  # page is silent
        need(piece.state in ("graded", "struck"), "not ready for the assay office")
        need(fit(book, piece), "only accepted and odd-weight pieces go on")
        need(not series.struck or struck_well(piece), "not struck yet")
        need(cmd["fineness"] <= known_fineness(book.melts[piece.melt]), "a fineness mark never exceeds the assay")
        need(cmd["fineness"] == series.fineness, "not what the series states")  # page is silent
    yield
    name = f"consignment:{n}"
    book.consignments[name] = Consignment(name, list(cmd["pieces"]), cmd["fineness"], sum(p.mass for p in pieces))
    for piece in pieces:
        piece.state, piece.consignment, piece.unmarked = "at assay office", name, None


@rule
def return_consignment(book, n, cmd):
    """marked + unmarked + kept or cut + missing = sent; a fineness mark never exceeds the assay."""
    consignment = book.consignments.get(cmd["consignment"])
    need(consignment and consignment.state == "at_office", "not at the office")
    lines = {line["piece"]: line for line in cmd["lines"]}
    need(len(lines) == len(cmd["lines"]) and set(lines) == set(consignment.pieces), "not every piece that was sent, once")
    for line in lines.values():
        need((line["outcome"] == "marked") == ("hallmark" in line), "a hallmark, and only on what is marked")
        need((line["outcome"] == "unmarked") == ("reason" in line), "a reason, and only for what is unmarked")
        if "hallmark" in line and "assay" in line:
            need(line["hallmark"] <= line["assay"], "a fineness mark never exceeds the assay")
        need("hallmark" not in line or line["hallmark"] == consignment.fineness, "another standard than claimed")  # page is silent
        need("assay" not in line or line["outcome"] not in ("missing", "marked"), "no assay of it")  # page is silent
        need(line["outcome"] == "missing" or book.pieces[line["piece"]].state == "at assay office", "destroyed")  # page is silent
    yield
    consignment.outcomes = [lines[p]["outcome"] for p in consignment.pieces]
    words = {"marked": "hallmarked", "unmarked": "returned unmarked", "missing": "missing"}
    for name in consignment.pieces:
        piece, line = book.pieces[name], lines[name]
        if piece.state == "destroyed":
            continue  # no way out of that; it was sent, so it is on a line
        piece.state = words.get(line["outcome"], "kept or cut by the office")
        piece.hallmark, piece.unmarked = line.get("hallmark"), line.get("reason")
        melt = book.melts[piece.melt]
        if "assay" in line:
            piece.assay = line["assay"]
            melt.assayed = line["assay"] if melt.assayed is None else min(melt.assayed, line["assay"])
        piece.back, piece.final = piece.back or line["outcome"] in ("marked", "unmarked"), False
        if line.get("reason") == "below_standard":
            piece.refused_at = consignment.fineness


@rule
def give_serials(book, n, cmd):
    """A serial is given once and never reused."""
    for piece in pieces_of(book, cmd["pieces"]):
        need(piece.serial is None, "it has its serial for ever")
        goes_on(book, piece)
        need(piece.state in ("graded", "struck"), "not ready for a serial")  # page is silent: when a serial is given
        need(fit(book, piece), "not accepted")  # page is silent
    yield
    for name in cmd["pieces"]:
        series = book.series[book.pieces[name].series]
        series.serials += 1
        book.pieces[name].serial = (series.code, series.serials)
        book.serials_given.append((series.code, series.serials))


@rule
def number_pieces(book, n, cmd):
    """At most N per shape, never twice; only to a hallmarked (or exempt), finally weighed, accepted piece."""
    asked = {}
    for piece in pieces_of(book, cmd["pieces"]):
        series = book.series[piece.series]
        need(series.kind == "edition" and not series.unnumbered and not series.closed, "no edition with numbers")
        need(piece.number is None, "it has a number")
        need(piece.state in ("graded", "struck", "hallmarked", "spare"), "not ready for a number")
        need(marked_or_exempt(book, piece) and piece.final and piece.grade == "accepted", "not finally weighed and accepted")
        need(piece.serial is not None, "no serial yet")  # page is silent
        need(not suspect(book, piece), "its weight is suspect")  # page is silent
        key = (piece.series, piece.shape)
        asked[key] = asked.get(key, 0) + 1
        need(series.numbers[piece.shape] + asked[key] <= series.sizes[piece.shape], "at most N per shape")
    yield
    for name in cmd["pieces"]:
        piece = book.pieces[name]
        series = book.series[piece.series]
        series.numbers[piece.shape] += 1
        piece.number, piece.state = series.numbers[piece.shape], "numbered"
        piece.final = not series.number_on_metal  # put on the metal: the weighing of record follows it
        book.numbers_given.append((piece.series, piece.shape, piece.number))


def supported(book, piece):
    """A fineness is stated that its mark bears, or, without a mark, that no assay of its metal contradicts."""
    known = known_fineness(book.melts[piece.melt]) if piece.hallmark is None else piece.hallmark
    return book.series[piece.series].fineness <= known


def certifiable(book, piece):
    """numbered and certified | odd-weight, certified; the weighing of record stands last."""
    series = book.series[piece.series]
    need(piece.issue == 0, "a first certificate stands")
    need(piece.serial is not None, "no serial")
    need(marked_or_exempt(book, piece) and piece.final, "nothing that touches metal stands after the weighing of record")
    need(fit(book, piece), "not accepted")
    need(bracketed(book, piece), "no good check after the weighing of record")
    need(supported(book, piece), "the certificate states no more than the assay supports")
    if series.kind == "edition" and not series.unnumbered:
        need(piece.state == "numbered" or (piece.state == "spare" and series.spares_sold), "no number yet")  # page is silent: on
        # the certificate of a spare that is sold unnumbered
    else:
        need(piece.state in ("graded", "struck", "hallmarked", "spare"), "not ready for a certificate")
        need(series.kind == "open" or not series.closed, "closed")  # page is silent


@rule
def issue_certificates(book, n, cmd):
    places = {}
    for piece in pieces_of(book, cmd["pieces"]):
        certifiable(book, piece)
        series = book.series[piece.series]
        if series.unnumbered:
            key = (piece.series, piece.shape)
            places[key] = places.get(key, 0) + 1
            need(series.numbers[piece.shape] + places[key] <= series.sizes[piece.shape], "at most N per shape")
    yield
    for name in cmd["pieces"]:
        piece = book.pieces[name]
        if book.series[piece.series].unnumbered:
            book.series[piece.series].numbers[piece.shape] += 1
        piece.state, piece.issue, piece.stated = "certified", 1, len(piece.readings)


@rule
def supersede_certificate(book, n, cmd):
    """Issues are numbered, a new one supersedes."""
    piece, = pieces_of(book, [cmd["piece"]])
    need(piece.issue > 0, "no certificate")
    need(not given_up(piece), "it is no more")  # page is silent
    need(bracketed(book, piece), "no good check after the weighing of record")
    again = [stage for stage, _, _ in piece.readings[piece.stated:]]
    need(cmd["reason"] != "reweighed" or "final" in again, "not weighed again")  # page is silent
    need(piece.readings[-1][0] == "final", "its newest weighing is not a final one")  # page is silent: after a buy-back
    yield
    piece.issue, piece.stated = piece.issue + 1, len(piece.readings)


@rule
def spare_pieces(book, n, cmd):
    for piece in pieces_of(book, cmd["pieces"]):
        series = book.series[piece.series]
        need(series.kind == "edition" and not series.closed, "of no edition")
        need(piece.state in ("graded", "struck", "hallmarked"), "not ready to be a spare")
        need(marked_or_exempt(book, piece) and piece.final and piece.grade == "accepted", "not finally weighed")
        need(not suspect(book, piece), "its weight is suspect")  # page is silent
    yield
    for name in cmd["pieces"]:
        book.pieces[name].state = "spare"


def given_up(piece):
    """There is nothing any more to certify."""
    return piece.state in ("destroyed", "condemned", "remelted", "at the refiner")


GONE = ("lost in transit", "destroyed", "condemned", "remelted", "at the refiner")


def burned(piece):
    """A piece lost, destroyed or condemned after allotment burns its number."""
    return piece.number is not None and piece.state in GONE


def burned_for_good(book, piece):
    """Burned by what became of it, or not back when its edition was closed."""
    series = book.series[piece.series]
    return burned(piece) or (series.closed and (piece.shape, piece.number) in series.burned_at_close)


def loose(book, series, piece):
    """Still on its way to a number, a certificate or an end."""  # page is silent: what keeps an edition open
    ended = ("certified", "reserved", "sold", "dispatched", "delivered", "lost in transit", "returned", "bought back",
             "stolen", "destroyed", "remelted", "at the refiner", "archive", "kept or cut by the office", "missing")
    return piece.series == series.name and piece.state not in ended


@rule
def close_series(book, n, cmd):
    series = book.series.get(cmd["series"])
    need(series and series.kind == "edition" and not series.closed, "no open edition")
    need(not any(loose(book, series, p) for p in book.pieces.values()), "a piece of it is loose")
    need(all(o.state != "open" for o in book.orders.values() if o.series == series.name), "an order is open")  # page is silent
    need(all(d.state in ("returned", "destroyed") for d in book.dies.values() if d.series == series.name),
         "a die cut for it is about")  # page is silent
    yield
    series.closed = True
    series.burned_at_close = sorted((p.shape, p.number) for p in book.pieces.values() if p.series == series.name and
                                    p.number is not None and (burned(p) or p.state == "stolen"))
