"""The rules of promises and sales: never more promised than can be had, first come first served, one live sale a piece."""

from workshop import Order, must

UNSOLD = {"numbered", "certified", "reserved"}


def available(shop, series, shape):
    """Numbers still givable and numbered pieces unsold; where there are no numbers, a certificate takes the place."""
    row = shop.series[series]
    unsold = sum(
        p.series == series and p.shape == shape and p.state in UNSOLD and holds_place(shop, p) for p in shop.pieces
    )
    return (0 if row.closed else row.sizes[shape] - row.given[shape]) + unsold


def owed(shop, series, shape):
    """Open promises not yet sold, and what is kept for persons without an order."""
    promised = sum(
        o.counts.get(shape, 0) - o.sold.get(shape, 0) for o in shop.orders if o.series == series and o.state == "open"
    )
    return promised + sum(
        p.series == series and p.shape == shape and p.state == "reserved" and p.order is None and holds_place(shop, p)
        for p in shop.pieces
    )


def holds_place(shop, piece):
    """Whether it has a number of its edition or, where there are none, counts by its certificate."""
    return piece.number is not None or not shop.series[piece.series].numbered and piece.state != "numbered"


def within(shop, series, shape):
    """Refuses when more of a shape is promised than can be had."""
    must(owed(shop, series, shape) <= available(shop, series, shape), "more is promised than can be had")


def unpromised(shop, piece):
    """Refuses, after it was kept or sold without an order, when it was promised to others."""
    if shop.series[piece.series].edition and holds_place(shop, piece):
        within(shop, piece.series, piece.shape)


def lacks(order, shape):
    """What is promised of a shape and neither reserved nor sold."""
    return order.counts.get(shape, 0) - order.reserved.get(shape, 0) - order.sold.get(shape, 0)


def first_come(shop, key, shape):
    """Refuses while an earlier open order still lacks a piece of the shape."""
    for other in shop.orders[:key]:
        same = other.series == shop.orders[key].series and other.state == "open"
        must(not (same and lacks(other, shape) > 0), "an earlier order lacks a piece")


def record_order(shop, series, counts):
    """A promise of pieces of an edition."""
    row = shop.series[series]
    must(row.edition, "promises are of editions")
    must(all(shape in row.sizes for shape in counts), "the edition has no such shape")
    shop.orders.append(Order(series, dict(counts), {}, {}))
    for shape in counts:
        within(shop, series, shape)


def cancel_order(shop, order):
    """What is not sold is promised no longer; what was kept for it is released."""
    row = shop.orders[order]
    must(row.state == "open", f"the order is {row.state}")
    row.state = "cancelled"
    for piece in shop.pieces:
        if piece.order == order and "reserved" in (piece.state, piece.before):
            release_row(shop, piece)


def release_row(shop, piece):
    """Takes a reservation off a piece, wherever it is now."""
    if piece.order is not None:
        reserved = shop.orders[piece.order].reserved
        reserved[piece.shape] -= 1
        piece.order = None
    if piece.state == "reserved":
        piece.state = "certified"
    else:
        piece.before = "certified"


def reserve(shop, piece, order=None):
    """A certified piece is kept for an order, or for a person."""
    row = shop.standing(piece, {"certified"}, "reserve")
    if order is not None:
        belongs(shop, row, order)
        must(lacks(shop.orders[order], row.shape) > 0, "the order lacks none of them")
        first_come(shop, order, row.shape)
        shop.orders[order].reserved[row.shape] = shop.orders[order].reserved.get(row.shape, 0) + 1
    row.state, row.order = "reserved", order
    if order is None:
        unpromised(shop, row)


def belongs(shop, piece, order):
    """The order is open and promises such a piece."""
    must(shop.orders[order].state == "open", "the order is not open")
    promise = shop.orders[order]
    must(promise.series == piece.series and piece.shape in promise.counts, "the order is not of such pieces")
    must(piece.number is not None or not shop.series[piece.series].numbered, "the order promises a number")


def release(shop, piece):
    """A reservation is given up, also of a piece that is stolen."""
    row = shop.pieces[piece]
    must("reserved" in (row.state, row.before), f"release: piece {piece} is {row.state}")
    release_row(shop, row)


def sell(shop, pieces, order=None):
    """Pieces are sold to one buyer; one kept for an order only under it, one kept for a person without any."""
    must(order is None or shop.orders[order].state == "open", "the order is not open")
    for key in pieces:
        row = shop.standing(key, {"certified", "reserved"}, "sell")
        kept = row.state == "reserved"
        must(not kept or row.order == order, "it is kept for somebody else")
        if order is not None:
            supply(shop, row, order, kept)
        row.state, row.sale, row.order = "sold", len(shop.sales), order
        if order is None and not kept:
            unpromised(shop, row)
    shop.sales.append({"pieces": list(pieces), "order": order, "undone": set()})
    if order is not None:
        supplied(shop.orders[order])


def supply(shop, piece, order, kept):
    """Counts a piece as sold under its order, in its turn unless it was kept for it."""
    promise = shop.orders[order]
    if kept:
        promise.reserved[piece.shape] -= 1
    else:
        belongs(shop, piece, order)
        must(lacks(promise, piece.shape) > 0, "the order lacks none of them")
        first_come(shop, order, piece.shape)
    promise.sold[piece.shape] = promise.sold.get(piece.shape, 0) + 1


def supplied(order):
    """An order all of whose pieces are sold is supplied; one that lacks some again is open."""
    if order.state != "cancelled":
        whole = all(order.sold.get(shape, 0) == count for shape, count in order.counts.items())
        order.state = "supplied" if whole else "open"


def of_sale(shop, sale, pieces, states, deed):
    """The pieces of a live sale, each in one of `states`."""
    rows = shop.only(pieces, states, deed)
    must(all(row.sale == sale for row in rows), "it is not of this sale")
    return rows


def cancel_sale(shop, sale, pieces):
    """Not sold after all, before anything reached the buyer; what is lost, stolen or destroyed stays so."""
    for key, row in zip(pieces, of_sale(shop, sale, pieces, {"sold", "lost", "stolen", "destroyed"}, "cancel")):
        must(row.state != "stolen" or row.before == "sold", "it was with the buyer")
        row.sale = None
        shop.sales[sale]["undone"].add(key)
        if row.state == "sold":
            row.state = "certified"
        elif row.state == "stolen":
            row.before = "certified"
        had = row.state == "destroyed" and row.before == "delivered"
        if row.order is not None and not had:
            shop.orders[row.order].sold[row.shape] -= 1
            supplied(shop.orders[row.order])
        row.order = None


def hand_over(shop, sale, pieces):
    """Sold pieces are handed to the buyer."""
    for row in of_sale(shop, sale, pieces, {"sold"}, "hand over"):
        row.state = "delivered"


def dispatch(shop, sale, pieces):
    """Sold pieces are sent."""
    for row in of_sale(shop, sale, pieces, {"sold"}, "dispatch"):
        row.state = "dispatched"


def deliver(shop, sale, pieces):
    """Sent pieces arrive."""
    for row in of_sale(shop, sale, pieces, {"dispatched"}, "deliver"):
        row.state = "delivered"


def lose(shop, sale, pieces):
    """Sent pieces are given up as lost."""
    for row in of_sale(shop, sale, pieces, {"dispatched"}, "lose"):
        row.state = "lost"


def send_back(shop, sale, pieces):
    """Sent pieces come back undelivered."""
    for row in of_sale(shop, sale, pieces, {"dispatched"}, "send back"):
        row.state = "sold"
