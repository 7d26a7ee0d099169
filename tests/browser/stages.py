"""A book in which a piece stands in each state that a serial can have: made by commands, told as {state: serial}."""

from bench import Bench

MARKS = [{"mark": mark, "legible": True} for mark in ("sponsor", "fineness", "office")]
ONE_BY_ONE = [
    "serialled", "struck", "mis_struck", "archived", "at_office", "unmarked", "kept", "missing", "hallmarked", "spare",
    "numbered", "certified", "reserved", "sold", "dispatched", "delivered", "lost", "returned", "bought_back", "stolen",
    "destroyed", "condemned", "remelted", "refined", "superseded", "corrected", "suspect",
]
CERTIFIED = ONE_BY_ONE[ONE_BY_ONE.index("certified"):ONE_BY_ONE.index("condemned")] + ["superseded", "corrected"]


def make(book):
    """Makes them all; {state: serial}, and {state: piece}."""
    shop = Bench(book.wire())
    scale = shop.make("/v1/scales", {"class": "II", "e": "0.01", "d": "0.01", "max": "600", "verified": True,
                                     "repeatability": "0.003"}, "scale")[0]
    session = shop.session(scale)
    series = shop.make("/v1/series", {
        "code": "SR", "kind_of": "edition", "metal": "silver", "fineness": "925", "unit": "g",
        "shapes": [{"shape": "oval", "size": 40}], "limits": {"nominal": "50.00", "lower": "50.00", "upper": "51.20"},
        "digits": 4, "marking": "required", "struck": True, "spares_sold": True, "title": "Sandling Row"}, "series")[0]
    pieces = dict(zip(ONE_BY_ONE, poured(shop, session, series)))
    shop.give("/v1/serials", {"pieces": list(pieces.values())})
    struck(shop, pieces)
    marked(shop, pieces)
    reading = finally_weighed(shop, session, pieces)
    shop.close(session)
    bad = shop.session(scale)
    shop.weigh(bad, "final", [(pieces["suspect"], "50.35")])
    shop.close(bad, "50.30")
    late = shop.session(scale)
    gone(shop, late, pieces)
    certified(shop, pieces)
    corrected(shop, session, pieces, reading)
    sold(shop, late, pieces)
    return {state: shop.serial(piece) for state, piece in pieces.items()}, pieces


def poured(shop, session, series):
    """Three melts of nine pieces each."""
    for number in range(3):
        lot = shop.make("/v1/lots", {"metal": "silver", "fineness": "930", "basis": "declared", "session": session,
                                     "mass": "500.00", "seller": "Pellworth Metals Counter"}, "lot")[0]
        weights = [f"50.{40 + number + n}" for n in range(9)]
        out = sum(round(float(weight) * 100) for weight in weights)
        heel = 49000 - out - 30
        yield from shop.melt(session, lot, "490.00", series, weights, f"{heel // 100}.{heel % 100:02}")


def struck(shop, pieces):
    """A die strikes all but one; two strikes go wrong."""
    die = shop.make("/v1/dies", {"owner": "workshop", "label": "the row of houses"}, "die")[0]
    wrong = {"mis_struck": "off_centre", "archived": "double"}
    items = [(piece, wrong.get(state, "good")) for state, piece in pieces.items() if state != "serialled"]
    shop.give("/v1/strikes", {"die": die, "items": shop.tray(items, "outcome")})
    shop.piece(pieces["archived"], "archive", {"note": "for the sample drawer"})


def marked(shop, pieces):
    """Two consignments; one is back, with an outcome for each line."""
    stay = {"serialled", "struck", "mis_struck", "archived"}
    for sent in (["at_office"], [state for state in pieces if state not in stay | {"at_office"}]):
        body = {"pieces": [pieces[state] for state in sent], "fineness": "925", "marks": ["sponsor", "fineness", "office"],
                "office": "Eastmarch Assay Hall", "seal": "S-88"}
        consignment = shop.make("/v1/consignments", body, "consignment")[0]
    outcomes = {"unmarked": {"outcome": "unmarked", "reason": "no_room"}, "kept": {"outcome": "kept"},
                "missing": {"outcome": "missing"}}
    good = {"outcome": "marked", "hallmark": {"fineness": "925", "marks": MARKS}}
    lines = [{"piece": pieces[state]} | outcomes.get(state, good) for state in sent]
    shop.give(f"/v1/consignments/{consignment}/return", {"lines": lines}, consignment)


def finally_weighed(shop, session, pieces):
    """The weighing of record, after the marks; then the numbers."""
    shop.weigh(session, "final", [(pieces[state], "50.37") for state in ["spare", "numbered", *CERTIFIED] if state != "corrected"])
    mistyped = shop.weigh(session, "final", [(pieces["corrected"], "50.37")])
    shop.give("/v1/spares", {"pieces": [pieces["spare"]]})
    shop.give("/v1/numbers", {"pieces": [pieces[state] for state in ["numbered", *CERTIFIED]]})
    return mistyped["index"]


def gone(shop, session, pieces):
    """Given up, melted again, sent to the refiner."""
    for state in ("condemned", "remelted", "refined"):
        shop.piece(pieces[state], "condemnation", {"reason": "unwanted"})
    shop.make("/v1/melts", {"metal": "silver", "session": session, "pieces": [pieces["remelted"]]}, "melt")
    shop.make("/v1/refinings", {"metal": "silver", "session": session, "pieces": [pieces["refined"]]}, "refining")


def certified(shop, pieces):
    """Certificates; one is superseded, and one rests on a reading that is corrected afterwards."""
    shop.give("/v1/certificates", {"pieces": [pieces[state] for state in CERTIFIED]})
    shop.piece(pieces["superseded"], "supersession", {"reason": "damaged"})


def corrected(shop, session, pieces, index):
    """The reading behind one certificate was mistyped: another issue states what holds."""
    instead = {"command": "weigh_pieces", "session": session, "stage": "final",
               "items": [{"piece": pieces["corrected"], "mass": "50.39"}]}
    shop.give("/v1/corrections", {"corrections": [{"index": index, "instead": instead}], "reason": "mistyped"})


def sold(shop, session, pieces):
    """Kept for somebody, sold, sent, and what may become of it then."""
    shop.piece(pieces["reserved"], "reservation", {"buyer": "a reader of the letter"})
    after = ["sold", "dispatched", "delivered", "lost", "returned", "bought_back"]
    sale = shop.make("/v1/sales", {"items": [{"piece": pieces[state]} for state in after], "buyer": "a reader of the letter",
                                   "document": "B-2031"}, "sale")[0]
    sent = [pieces[state] for state in after[1:]]
    shop.sale(sale, "dispatches", sent)
    shop.sale(sale, "losses", [pieces["lost"]])
    shop.sale(sale, "deliveries", [pieces[state] for state in ("delivered", "returned", "bought_back")])
    shop.piece(pieces["returned"], "return")
    shop.piece(pieces["bought_back"], "buyback", {"session": session, "mass": "50.36"})
    shop.piece(pieces["stolen"], "theft", {"reference": "CR 42"})
    shop.piece(pieces["destroyed"], "destruction", {"witness": "the neighbour from the forge"})
