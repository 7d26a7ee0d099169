"""The rules of promises and sales: never more promised than can be had, first come first served, one live sale a piece."""

from workshop import Order, must

UNSOLD = {"numbered", "certified", "reserved"}


def available(shop, series, shape):
    """Numbers still givable and numbered pieces unsold; where there are no numbers, a certificate takes the place."""
    row = shop.series[series]
    unsold = sum(
        p.series == series and p.shape == shape and p.state in UNSOLD and (p.number is not None or not row.numbered)
        for p in shop.pieces
    )
    return row.sizes[shape] - row.given[shape] + unsold


def owed(shop, series, shape):
    """Open promises not yet sold, and what is kept for persons without an order."""
    promised = sum(
        o.counts.get(shape, 0) - o.sold.get(shape, 0) for o in shop.orders if o.series == series and o.state == "open"
    )
    row = shop.series[series]
    return promised + sum(
        p.series == series and p.shape == shape and p.state == "reserved" and p.order is None
        and (p.number is not None or not row.numbered)
        for p in shop.pieces
    )


def within(shop, series):
    """Refuses when more is promised than can be had."""
    if shop.series[series].edition:
        for shape in shop.series[series].sizes:
            must(owed(shop, series, shape) <= available(shop, series, shape), "more is promised than can be had")


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
    must(row.edition and not row.closed, "promises are of open editions")
    must(all(shape in row.sizes for shape in counts), "the edition has no such shape")
    shop.orders.append(Order(series, dict(counts), {}, {}))
    within(shop, series)


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
        within(shop, row.series)


def belongs(shop, piece, order):
    """The order is open and promises such a piece."""
    must(shop.orders[order].state == "open", "the order is not open")
    must(shop.orders[order].series == piece.series, "the order is of another edition")
    must(piece.number is not None or not shop.series[piece.series].numbered, "an order promises numbered pieces")


def release(shop, piece):
    """A reservation is given up, also of a piece that is stolen."""
    row = shop.pieces[piece]
    must("reserved" in (row.state, row.before), f"release: piece {piece} is {row.state}")
    release_row(shop, row)


def sell(shop, pieces, order=None):
    """Pieces are sold to one buyer; one kept for an order only under it."""
    must(len(set(pieces)) == len(pieces), "a piece is named twice")
    for key in pieces:
        row = shop.standing(key, {"certified", "reserved"}, "sell")
        if row.state == "reserved":
            must(row.order == order, "it is kept for somebody else")
        if order is not None:
            belongs(shop, row, order)
            promise = shop.orders[order]
            if row.state == "reserved":
                promise.reserved[row.shape] -= 1
            else:
                must(lacks(promise, row.shape) > 0, "the order lacks none of them")
                first_come(shop, order, row.shape)
            promise.sold[row.shape] = promise.sold.get(row.shape, 0) + 1
        row.state, row.sale, row.order = "sold", len(shop.sales), order
    shop.sales.append({"pieces": list(pieces), "order": order, "undone": set()})
    if order is not None:
        supplied(shop.orders[order])
    else:
        for series in {shop.pieces[key].series for key in pieces}:
            within(shop, series)


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
        if row.order is not None:
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
