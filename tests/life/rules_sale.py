"""Rules of orders, reservations, sales and what comes back."""

from rule import need, once, rule
from rules_bench import pieces_of, weighed
from rules_metal import open_session_of
from rules_number import burned
from things import Order, Sale


def promised_by_orders(book, series, shape):
    """What open orders still want of a shape."""
    return sum(o.counts.get(shape, 0) - o.sold.get(shape, 0) for o in book.orders.values()
               if o.series == series.name and not o.cancelled)


def counts(book, piece):
    """Whether a piece is one of its edition's numbers; a spare that is sold unnumbered is not."""
    return piece.number is not None or book.series[piece.series].unnumbered


def promised(book, series, shape):
    """Open promises of a shape: what orders still want, and single pieces promised to somebody without an order."""
    return promised_by_orders(book, series, shape) + sum(1 for p in book.pieces.values() if p.series == series.name and p.shape == shape and
                        p.state == "reserved" and p.order is None and counts(book, p))


def to_be_had(book, series, shape):
    """Numbers still givable + numbered pieces unsold."""
    unsold = ("numbered", "certified", "reserved")  # page is silent: not what came back, before it is in stock again
    givable = 0 if series.closed else series.sizes[shape] - series.numbers[shape]
    return givable + sum(
        1 for p in book.pieces.values() if p.series == series.name and p.shape == shape and p.state in unsold and
        counts(book, p))


def promises_hold(book, series, shape, more=0, fewer=0):
    """Open promises per shape <= numbers still givable + numbered pieces unsold."""
    if series.kind == "edition" and shape in series.sizes:
        need(promised(book, series, shape) + more <= to_be_had(book, series, shape) - fewer, "more is promised than can be had")


@rule
def record_order(book, n, cmd):
    series = book.series.get(cmd["series"])
    need(series and series.kind == "edition", "no edition")  # page is silent: on orders after the close, of what is in stock
    once([x["shape"] for x in cmd["shapes"]])
    for wish in cmd["shapes"]:
        need(wish["shape"] in series.sizes, "no such shape")
        promises_hold(book, series, wish["shape"], more=wish["count"])
    yield
    counts = {x["shape"]: x["count"] for x in cmd["shapes"]}
    book.orders[f"order:{n}"] = Order(f"order:{n}", series.name, counts, dict.fromkeys(counts, 0), dict.fromkeys(counts, 0))


def released(book, piece):
    """Nobody is promised the piece any more."""
    if piece.order:
        book.orders[piece.order].reserved[piece.shape] -= 1
    piece.order = None
    if piece.state == "stolen":
        piece.before = "certified"  # page is silent: what was promised is stolen, and promised no more
    elif piece.state == "reserved":
        piece.state = "certified"


@rule
def cancel_order(book, n, cmd):
    order = book.orders.get(cmd["order"])
    need(order and order.state == "open", "not open")
    yield
    for piece in book.pieces.values():
        if piece.order == order.name and "reserved" in (piece.state, piece.before):
            released(book, piece)
    order.cancelled = True


def supplies(book, order, piece, already):
    """Whether a piece is one that the order still wants."""
    need(piece.series == order.series and piece.shape in order.counts, "not what was ordered")
    need(counts(book, piece), "a spare serves no order")  # page is silent
    left = order.counts[piece.shape] - order.sold[piece.shape] - order.reserved[piece.shape] - already
    need(left > 0, "the order wants no more of that shape")


def first_come(book, order, piece):
    """An order that came first is kept for first."""  # page is silent
    for other in book.orders.values():
        if other is order:
            return
        if other.series == order.series and not other.cancelled and piece.shape in other.counts:
            need(other.counts[piece.shape] <= other.sold[piece.shape] + other.reserved[piece.shape], "another order came first")


@rule
def reserve_piece(book, n, cmd):
    piece, = pieces_of(book, [cmd["piece"]])
    need(piece.state == "certified", "not in stock")
    if cmd.get("order"):
        order = book.orders.get(cmd["order"])
        need(order and order.state == "open", "no open order")
        supplies(book, order, piece, 0)
        first_come(book, order, piece)
    elif counts(book, piece):
        promises_hold(book, book.series[piece.series], piece.shape, more=1)
    yield
    piece.state, piece.order = "reserved", cmd.get("order")
    if piece.order:
        book.orders[piece.order].reserved[piece.shape] += 1


@rule
def release_piece(book, n, cmd):
    piece, = pieces_of(book, [cmd["piece"]])
    need(piece.state == "reserved" or (piece.state == "stolen" and piece.before == "reserved"), "not reserved")
    yield
    released(book, piece)


@rule
def sell_pieces(book, n, cmd):
    """One live sale per piece."""
    pieces = pieces_of(book, cmd["pieces"])
    order = book.orders.get(cmd.get("order"))
    need(cmd.get("order") is None or (order and order.state == "open"), "no open order")
    counted, outside = {}, {}
    for piece in pieces:
        series = book.series[piece.series]
        need(piece.state in ("certified", "reserved"), "not in stock")
        if piece.state == "reserved" and piece.order:
            need(cmd.get("order") == piece.order, "promised to another")
        elif order:
            need(piece.state == "certified", "promised to another")  # page is silent: whether a person's is the order's
            first_come(book, order, piece)
            supplies(book, order, piece, counted.get(piece.shape, 0))
            counted[piece.shape] = counted.get(piece.shape, 0) + 1
        elif piece.state == "certified" and counts(book, piece):
            key = (piece.series, piece.shape)
            outside[key] = outside.get(key, 0) + 1
            promises_hold(book, series, piece.shape, fewer=outside[key])
    yield
    sale = f"sale:{n}"
    book.sales[sale] = Sale(sale, list(cmd["pieces"]), cmd.get("order"))
    for piece in pieces:
        if order:
            if piece.state == "reserved":
                order.reserved[piece.shape] -= 1
            order.sold[piece.shape] += 1
        piece.state, piece.sale, piece.order = "sold", sale, cmd.get("order")


def of_sale(book, cmd, state):
    sale = book.sales.get(cmd["sale"])
    need(sale, "no such sale")
    pieces = pieces_of(book, cmd["pieces"])
    for piece in pieces:
        need(piece.sale == sale.name and piece.state == state, f"not {state} in this sale")
    return sale, pieces


def sale_over(book, piece):
    """The sale of a piece is over: what it supplied of an order is not supplied."""
    sale = book.sales[piece.sale]
    sale.undone.append(piece.name)
    piece.sale = piece.order = None
    return sale


@rule
def cancel_sale(book, n, cmd):
    sale = book.sales.get(cmd["sale"])
    need(sale, "no such sale")
    pieces = pieces_of(book, cmd["pieces"])
    for piece in pieces:  # page is silent: a piece that is stolen, destroyed or lost meanwhile was not sold after all, either
        need(piece.sale == sale.name and (piece.state == "lost in transit" or piece.state == "sold" or
                                                 piece.before in ("sold", "lost in transit", "dispatched")),
             "not sold in this sale")
    yield
    for piece in pieces:
        sale_over(book, piece)
        if sale.order:
            book.orders[sale.order].sold[piece.shape] -= 1  # page is silent: the order is open again
        if piece.state == "sold":
            piece.state = "certified"
        elif piece.state == "stolen" and piece.before == "sold":
            piece.before = "certified"  # page is silent


def step(command, frm, to):
    """A rule that takes pieces of a sale from one state to the next."""
    def moves(book, n, cmd):
        _, pieces = of_sale(book, cmd, frm)
        yield
        for piece in pieces:
            piece.state = to
    moves.__name__ = command
    rule(moves)


step("hand_over_pieces", "sold", "delivered")  # page is silent: whether a piece handed over is then delivered
step("dispatch_pieces", "sold", "dispatched")
step("deliver_pieces", "dispatched", "delivered")
step("lose_pieces", "dispatched", "lost in transit")
step("send_back_pieces", "dispatched", "sold")  # page is silent: returned to sender, it is sold still


@rule
def find_piece(book, n, cmd):
    piece, = pieces_of(book, [cmd["piece"]])
    need(piece.state == "lost in transit", "not lost")
    yield
    piece.state = "dispatched" if piece.sale else "returned"  # page is silent: where a found piece is


@rule
def return_piece(book, n, cmd):
    piece, = pieces_of(book, [cmd["piece"]])
    need(piece.state == "delivered", "not delivered")
    yield
    sale_over(book, piece)
    piece.state = "returned"


@rule
def buy_back_piece(book, n, cmd):
    piece, = pieces_of(book, [cmd["piece"]])
    session = open_session_of(book, cmd["session"])
    need(piece.state == "delivered", "not delivered")
    yield
    weighed(book, piece, "returned", cmd["mass"], session)  # page is silent: it is graded by that
    sale_over(book, piece)  # page is silent: whether its sale stands, since it was bought and paid
    piece.state = "bought back"


@rule
def restock_piece(book, n, cmd):
    piece, = pieces_of(book, [cmd["piece"]])
    need(piece.state in ("returned", "bought back"), "did not come back")
    need(not piece.fault, "faulty -> condemned")
    yield
    piece.state = "certified"


HELD = ("poured", "graded", "struck", "mis-struck", "archive", "hallmarked", "returned unmarked", "spare", "numbered",
        "certified", "reserved", "sold", "returned", "bought back", "condemned", "delivered")  # page is silent: by the buyer, too


@rule
def steal_piece(book, n, cmd):
    piece, = pieces_of(book, [cmd["piece"]])
    need(piece.state in HELD, "not held here")
    yield
    piece.before, piece.state = piece.state, "stolen"


@rule
def recover_piece(book, n, cmd):
    piece, = pieces_of(book, [cmd["piece"]])
    need(piece.state == "stolen", "not stolen")
    yield
    piece.state, piece.before = piece.before, None


@rule
def destroy_piece(book, n, cmd):
    piece, = pieces_of(book, [cmd["piece"]])
    need(cmd.get("witness"), "destroyed before a witness")
    need(piece.state not in ("remelted", "at the refiner", "destroyed"), "it is no more")
    yield
    piece.before = piece.before or piece.state  # page is silent
    piece.state = "destroyed"
    if piece.before == "reserved":
        released(book, piece)  # an order is a count per shape: what is destroyed is kept for nobody
